#!/usr/bin/env node
/**
 * Checks the carts of a web shop over one stream: a cart a line in, an answer a line out, in the order of the carts.
 *
 * It is written to be copied. It keeps a bounded number of carts in flight, calls with a deadline, leaves repeating to
 * gRPC and its service config, and tells what a refused call says in google.rpc details. Types stand in comments and are
 * checked by `npm run types`.
 *
 * Usage: node cart_check.mjs --server http://HOST:PORT < carts.jsonl
 *
 * A line is a CheckCartsRequest as JSON with the names of the schema; other names are left out by the loader of the schema,
 * without a word: copy them from proto/dashwright/v1/cart.proto. It ends with 0 when every cart was checked, with 3
 * when some were not (their lines say why), and with 1 when the stream broke off.
 */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import * as grpc from '@grpc/grpc-js';
import { loadSync } from '@grpc/proto-loader';

/**
 * @typedef {{ correlation_id: string, cart: object }} Cart
 * @typedef {{ currency: string, minor_units: string, text: string }} Money
 * @typedef {{ item: string, status: string, surplus: number, text: string }} CheckedLine
 * @typedef {{ verdict: string, add_part_ids: string[], total: { price: Money | null } | null }} Completion
 * @typedef {{ attribute: string, text: string, choices: { value: string, title: string, how_to_tell: string }[] }} Question
 * @typedef {{ id: string, brand: string, number: string, title: string }} Part
 * @typedef {object} Checked
 * @property {string} verdict
 * @property {CheckedLine[]} lines
 * @property {Completion[]} completions
 * @property {Question | null} question
 * @property {Part[]} parts
 * @typedef {{ code: number, reason: string, message: string, fields: string[] }} CartError
 * @typedef {{ correlation_id: string, answer?: Checked, error?: CartError }} Answer
 * @typedef {{ type_url: string, value: Buffer }} Packed
 * @typedef {{ inFlight: number, deadlineSeconds: number, key: string }} Ways
 */

const ROOT = new URL('../../../', import.meta.url);
const SCHEMA = fileURLToPath(new URL('proto', ROOT));
const SERVICE_CONFIG = fileURLToPath(new URL('deploy/service-config.json', ROOT));
const ERROR_DETAILS = fileURLToPath(new URL('error_details.proto', import.meta.url));

/** As many as the service checks ahead of a slow reader (`carts_in_flight` of GetDatasetInfo): more only wait. */
const IN_FLIGHT = 16;
/** A night's batch of 10,000 carts takes a few seconds; the service config says the same. */
const DEADLINE_SECONDS = 60;
/** Ends of the program. */
const ALL_CHECKED = 0;
const BROKEN_OFF = 1;
const SOME_NOT_CHECKED = 3;

/** Names of the schema, enums by name, whole numbers of 64 bits as text, lists that are there even when empty. */
const READING = { keepCase: true, enums: String, longs: String, defaults: true, oneofs: true };

/** The stream broke off; the carts without an answer can be sent again, for a check changes nothing. */
class BrokenOff extends Error {
  /**
   * @param {grpc.ServiceError} cause
   * @param {string[]} unanswered correlation ids
   */
  constructor(cause, unanswered) {
    super(cause.message, { cause });
    this.status = cause;
    this.unanswered = unanswered;
  }
}

/**
 * Opens a client: once, and kept.
 * @param {string} server http://HOST:PORT or https://HOST:PORT
 * @param {string} serviceConfig the text of the service config
 * @param {Buffer | null} authorities PEM
 */
function connect(server, serviceConfig, authorities) {
  const { protocol, host } = new URL(server);
  if (protocol !== 'http:' && protocol !== 'https:') {
    throw new Error(`\`${server}\` is no address: write http://HOST:PORT or https://HOST:PORT`);
  }
  const definitions = loadSync('dashwright/v1/fitment_service.proto', { ...READING, includeDirs: [SCHEMA] });
  const service = /** @type {grpc.ServiceDefinition} */ (definitions['dashwright.v1.FitmentService']);
  const Client = grpc.makeGenericClientConstructor(service, 'FitmentService');
  const secure = protocol === 'https:';
  const credentials = secure ? grpc.credentials.createSsl(authorities) : grpc.credentials.createInsecure();
  // The file says which calls are repeated, after which waits; grpc-js does it.
  return new Client(host, credentials, { 'grpc.service_config': serviceConfig, 'grpc.enable_retries': 1 });
}

/**
 * Sends carts and hands over each answer as it comes. At any moment at most so many carts are without an answer, so that
 * neither side has to hold a batch in memory.
 * @param {grpc.Client} client
 * @param {Iterator<Cart>} carts
 * @param {Ways} ways
 * @param {(answer: Answer) => void} told
 * @returns {Promise<void>} rejected with BrokenOff
 */
function checkCarts(client, carts, ways, told) {
  const metadata = new grpc.Metadata();
  if (ways.key) {
    metadata.set('authorization', `Bearer ${ways.key}`);
  }
  const deadline = new Date(Date.now() + ways.deadlineSeconds * 1000);
  /** @type {grpc.ClientDuplexStream<Cart, Answer>} */
  const call = /** @type {any} */ (client).CheckCarts(metadata, { deadline });
  /** @type {string[]} */
  const open = [];
  let ended = false;

  function send() {
    while (!ended && open.length < ways.inFlight) {
      const next = carts.next();
      if (next.done) {
        ended = true;
        call.end();
        return;
      }
      open.push(next.value.correlation_id);
      call.write(next.value);
    }
  }

  return new Promise((resolve, reject) => {
    call.on('data', (/** @type {Answer} */ answer) => {
      const expected = open.shift();
      if (answer.correlation_id !== expected) {
        call.destroy(new Error(`the answer to \`${answer.correlation_id}\` came where \`${expected}\` is next`));
        return;
      }
      told(answer);
      send();
    });
    call.on('error', (/** @type {grpc.ServiceError} */ error) => {
      const unsent = [];
      for (let next = carts.next(); !next.done; next = carts.next()) {
        unsent.push(next.value.correlation_id);
      }
      reject(new BrokenOff(error, [...open, ...unsent]));
    });
    call.on('end', () => resolve());
    send();
  });
}

/**
 * What a shop's system makes of an answer: what each line is worth, and what to add.
 * @param {Answer} answer
 */
function summary(answer) {
  const { correlation_id: id, answer: checked, error } = answer;
  if (!checked) {
    return { id, error };
  }
  const parts = new Map(checked.parts.map((part) => [part.id, part]));
  const completions = checked.completions.map((completion) => ({
    verdict: completion.verdict,
    add: completion.add_part_ids.map((part) => {
      const named = parts.get(part);
      return named ? { id: part, what: `${named.brand} ${named.number}, ${named.title}` } : { id: part };
    }),
    price: completion.total?.price?.text ?? null,
  }));
  const lines = checked.lines.map(({ item, status, surplus, text }) => ({ item, status, surplus, text }));
  const ask = checked.question && { text: checked.question.text, choices: checked.question.choices };
  return { id, verdict: checked.verdict, lines, completions, ask };
}

/**
 * A refused call as a person reads it: what is wrong, in which fields, and when to try again.
 * @param {grpc.ServiceError} error
 * @returns {string[]}
 */
function toldRefusal(error) {
  const lines = [`refused: ${error.details || error.message} (${grpc.status[error.code] ?? 'no gRPC status'})`];
  const packed = error.metadata?.get('grpc-status-details-bin')[0];
  if (!(packed instanceof Buffer)) {
    return lines;
  }
  const definitions = loadSync(ERROR_DETAILS, READING);
  /** @type {(name: string, bytes: Buffer) => any} */
  const read = (name, bytes) => {
    const definition = definitions[name];
    return definition && 'deserialize' in definition && typeof definition.deserialize === 'function'
      ? definition.deserialize(bytes)
      : {};
  };
  for (const { type_url: url, value } of /** @type {Packed[]} */ (read('google.rpc.Status', packed).details)) {
    const name = url.slice(url.lastIndexOf('/') + 1);
    const detail = read(name, value);
    if (name === 'google.rpc.ErrorInfo') {
      lines.push(`  reason: ${detail.reason}`);
      lines.push(...Object.keys(detail.metadata).sort().map((key) => `    ${key}: ${detail.metadata[key]}`));
    } else if (name === 'google.rpc.BadRequest') {
      for (const violation of detail.field_violations) {
        lines.push(`  ${violation.field}: ${violation.description}`);
      }
    } else if (name === 'google.rpc.RetryInfo') {
      const milliseconds = Number(detail.retry_delay.seconds) * 1000 + detail.retry_delay.nanos / 1e6;
      lines.push(`  try again in ${milliseconds} ms`);
    }
  }
  return lines;
}

/**
 * The carts of a file of JSON Lines.
 * @param {string} text
 * @returns {Cart[]}
 */
function read(text) {
  const lines = text.split('\n').map((line, index) => ({ line, number: index + 1 }));
  return lines
    .filter(({ line }) => line.trim() !== '')
    .map(({ line, number }) => {
      try {
        const cart = JSON.parse(line);
        if (typeof cart?.correlation_id !== 'string' || typeof cart.cart !== 'object') {
          throw new Error('it has no `correlation_id` and `cart`');
        }
        return cart;
      } catch (error) {
        throw new Error(`line ${number} is no cart: ${error instanceof Error ? error.message : error}`);
      }
    });
}

/**
 * A number of the command line that is above 0.
 * @param {string} name
 * @param {string | undefined} text
 * @param {number} otherwise
 */
function positive(name, text, otherwise) {
  const value = text === undefined ? otherwise : Number(text);
  if (!(value > 0)) {
    throw new Error(`--${name} is \`${text}\`; it takes a number above 0`);
  }
  return value;
}

async function main() {
  const text = /** @type {const} */ ({ type: 'string' });
  const { values } = parseArgs({
    options: {
      server: text,
      carts: text,
      'in-flight': text,
      'deadline-seconds': text,
      'service-config': text,
      'key-file': text,
      ca: text,
    },
  });
  if (!values.server) {
    throw new Error('name the server: --server http://HOST:PORT');
  }
  const ways = {
    inFlight: positive('in-flight', values['in-flight'], IN_FLIGHT),
    deadlineSeconds: positive('deadline-seconds', values['deadline-seconds'], DEADLINE_SECONDS),
    key: values['key-file'] ? readFileSync(values['key-file'], 'utf8').trim() : (process.env.DASHWRIGHT_KEY ?? ''),
  };
  // File 0 is standard input.
  const carts = read(readFileSync(values.carts ?? 0, 'utf8'));
  const serviceConfig = readFileSync(values['service-config'] ?? SERVICE_CONFIG, 'utf8');
  const client = connect(values.server, serviceConfig, values.ca ? readFileSync(values.ca) : null);
  let end = ALL_CHECKED;
  try {
    await checkCarts(client, carts.values(), ways, (answer) => {
      end = answer.error ? SOME_NOT_CHECKED : end;
      console.log(JSON.stringify(summary(answer)));
    });
  } catch (error) {
    if (!(error instanceof BrokenOff)) {
      throw error;
    }
    const lines = toldRefusal(error.status);
    console.error([...lines, `not checked: ${error.unanswered.join(', ')}`].join('\n'));
    end = BROKEN_OFF;
  } finally {
    client.close();
  }
  return end;
}

try {
  process.exitCode = await main();
} catch (error) {
  console.error(`error: ${error instanceof Error ? error.message : error}`);
  process.exitCode = BROKEN_OFF;
}
