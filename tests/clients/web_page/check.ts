/** What run.py has the page do in a browser; it posts what came of it to where it was loaded from. */
import { clients, refusal, told } from './page.ts';

const asked = new URLSearchParams(location.search);
const { fitment, curation } = clients(asked.get('server') ?? '', asked.get('key') ?? '');
/** Without the wishes of every customer: the musts alone. */
const order = { onlyNamedWishes: true };
const vehicle = { words: '2013 orvane tamsel hatchback', audioOption: 'B6' };

/** What came of a call: its answer, or its refusal. */
async function tried(call: () => Promise<unknown>): Promise<unknown> {
  try {
    return await call();
  } catch (error) {
    return { refused: refusal(error) };
  }
}

async function exported(): Promise<unknown> {
  let bytes = 0;
  let records = 0n;
  for await (const piece of curation.exportRecords({}, { timeoutMs: 30_000 })) {
    bytes += piece.chunk.length;
    records = piece.end?.records ?? records;
  }
  return { bytes, records: Number(records) };
}

const found = {
  plan: await tried(async () => told(await fitment.planInstall({ vehicle, radioId: 'sonquill-rowan-2', order }))),
  open: await tried(async () => {
    const answer = await fitment.lookUpFitment({ vehicle: { words: vehicle.words } });
    return answer.question?.choices.map((choice) => choice.value);
  }),
  refused: await tried(() => fitment.planInstall({ vehicle: { ...vehicle, modelYear: 7 }, radioId: 'NO ID' })),
  unknown: await tried(() => fitment.lookUpFitment({ vehicle: { words: 'qqqqqqqq' } })),
  late: await tried(() => fitment.planInstall({ vehicle, radioId: 'sonquill-rowan-2' }, { timeoutMs: 0.001 })),
  exported: await tried(exported),
};
await fetch('/found', { method: 'POST', body: JSON.stringify(found) });
