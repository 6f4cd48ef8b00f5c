/**
 * What a page of a shop asks: a vehicle in words and a radio in; parts to buy, what will not work any more, and the open
 * question out. It is written to be copied.
 *
 * It speaks gRPC-Web to `serve --web-listen ADDR --web-origins ORIGIN-OF-THIS-PAGE`, calls with a deadline, repeats what the
 * service says to repeat after the time that it says, and tells what a refused call says in google.rpc details.
 */
import { Code, ConnectError, createClient, type Interceptor } from '@connectrpc/connect';
import { createGrpcWebTransport } from '@connectrpc/connect-web';
import { BadRequestSchema, ErrorInfoSchema, RetryInfoSchema } from './built/schema/error_details_pb.ts';
import { CurationService } from './built/schema/dashwright/v1/curation_pb.ts';
import { FitmentService } from './built/schema/dashwright/v1/fitment_service_pb.ts';
import { Verdict } from './built/schema/dashwright/v1/fitment_pb.ts';
import type { PlanInstallResponse } from './built/schema/dashwright/v1/plan_pb.ts';

/** Room for every attempt: somebody looks at a page meanwhile. */
const DEADLINE_MS = 6_000;
/** The numbers of deploy/service-config.json, which browsers do not read by themselves. */
const ATTEMPTS = 5;
const FIRST_WAIT_MS = 250;

/** A refused call as a page shows it. */
export interface Refused {
  code: string;
  message: string;
  reason: string;
  fields: string[];
}

/** Repeats calls that the service has refused for the moment. A stream is not repeated: somebody has read its beginning. */
const repeated: Interceptor = (next) => async (request) => {
  for (let attempt = 1; ; attempt++) {
    try {
      return await next(request);
    } catch (error) {
      const refused = ConnectError.from(error);
      if (request.stream || refused.code !== Code.Unavailable || attempt === ATTEMPTS) throw refused;
      await new Promise((resolve) => setTimeout(resolve, waitFor(refused, attempt)));
    }
  }
};

/** As long as the service says; otherwise twice as long each time, somewhat by chance, so that pages do not come together. */
function waitFor(refused: ConnectError, attempt: number): number {
  const told = refused.findDetails(RetryInfoSchema)[0]?.retryDelay;
  if (told) return Number(told.seconds) * 1000 + told.nanos / 1e6;
  return FIRST_WAIT_MS * 2 ** (attempt - 1) * (0.8 + 0.4 * Math.random());
}

/** The clients of a service at an address, for the holder of a key where one is asked for. */
export function clients(server: string, key = '') {
  const authorized: Interceptor = (next) => (request) => {
    if (key) request.header.set('authorization', `Bearer ${key}`);
    return next(request);
  };
  const transport = createGrpcWebTransport({
    baseUrl: server,
    defaultTimeoutMs: DEADLINE_MS,
    interceptors: [repeated, authorized],
  });
  return { fitment: createClient(FitmentService, transport), curation: createClient(CurationService, transport) };
}

/** A plan as a customer reads it. */
export function told(plan: PlanInstallResponse): string[] {
  const named = new Map(plan.parts.map((part) => [part.id, part]));
  const lines = [`${plan.radio?.brand} ${plan.radio?.model}: ${Verdict[plan.verdict]?.toLowerCase().replaceAll('_', ' ')}`];
  if (plan.question) {
    lines.push(`ask: ${plan.question.text}`);
    for (const choice of plan.question.choices) lines.push(`  ${choice.value}: ${choice.title}; ${choice.howToTell}`);
  }
  for (const planned of plan.settled?.parts ?? []) {
    const part = named.get(planned.partId);
    lines.push(`${planned.price?.text ?? 'no price'}  ${part?.brand} ${part?.number}  ${part?.title}`);
  }
  // Never leave these out: what is sold here is wired into a car.
  return lines.concat(plan.cautions.map((caution) => `beware: ${caution.text}`));
}

/** What a refused call says, in its google.rpc details. */
export function refusal(error: unknown): Refused {
  const refused = ConnectError.from(error);
  return {
    code: Code[refused.code] ?? String(refused.code),
    message: refused.rawMessage,
    reason: refused.findDetails(ErrorInfoSchema)[0]?.reason ?? '',
    fields: refused.findDetails(BadRequestSchema).flatMap((it) => it.fieldViolations.map((field) => field.field)),
  };
}
