// npm run fuzz -- [--runs 5000] [--seed 1]: damages files that are read, and looks for crashes, hangs, errors without a
// code, and memory beyond a gigabyte. The same seed damages the same files in the same way. Exit code 1 when it finds any.
import { spawn } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { availableParallelism, tmpdir } from 'node:os';
import { extname, join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { mutate, randomFrom } from './fuzz-mutate.mjs';

const { values } = parseArgs({
  options: { runs: { type: 'string', default: '5000' }, seed: { type: 'string', default: '1' } },
});
const runs = Number(values.runs);
const HANG_MS = 10_000;
const MOST_BYTES = 2 ** 30;
const BATCH = 25;
const root = fileURLToPath(new URL('../', import.meta.url));
const child = fileURLToPath(new URL('./fuzz-child.mjs', import.meta.url));

function filesBelow(folder) {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    return entry.isDirectory() ? filesBelow(path) : [path];
  });
}

/** Largest file that is damaged, bytes. */
const MOST_SEED_BYTES = 2 ** 22;

async function seeds() {
  const { writeSettingsTemplate } = await import(
    new URL('../packages/core/dist/capture/settings-template.js', import.meta.url).href
  );
  const settings = writeSettingsTemplate({ start: '2026-03-01T20:15:00Z' });
  const of = (kind, paths) =>
    paths
      .filter((path) => statSync(path).size <= MOST_SEED_BYTES)
      .map((path) => ({ kind, extension: extname(path), bytes: readFileSync(path) }));
  const stills = of('still', [
    ...filesBelow(join(root, '../shared/real/formats')),
    ...filesBelow(join(root, 'packages/core/test/stills')),
  ]);
  const clips = of(
    'clip',
    filesBelow(join(root, 'packages/core/test/clips')).filter((path) => !path.endsWith('.py')),
  );
  const lattice = Array.from({ length: 8 }, (_, i) => `${i & 1} ${(i >> 1) & 1} ${i >> 2}`).join('\n');
  const texts = [
    { kind: 'settings', extension: '.yaml', bytes: Buffer.from(settings) },
    { kind: 'settings', extension: '.yaml', bytes: Buffer.from(settings.replaceAll(/^(\s*)#(?! )/gm, '$1')) },
    {
      kind: 'table',
      extension: '.cube',
      bytes: Buffer.from(`TITLE "t"\nLUT_3D_SIZE 2\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\n${lattice}\n`),
    },
    { kind: 'table', extension: '.cube', bytes: Buffer.from('LUT_1D_SIZE 3\n0 0 0\n0.2 0.2 0.2\n1 1 1\n') },
  ];
  return { stills, clips, texts };
}

/** Of ten files eight are stills, one is a clip, one a text. */
function choose({ stills, clips, texts }, random) {
  const draw = random(10);
  const from = draw < 8 ? stills : draw === 8 ? clips : texts;
  return from[random(from.length)];
}

/** Runs a batch in a child; resolves to what became of each file, and starts again behind one that ends the child. */
async function runBatch(jobs, onOutcome) {
  for (let rest = jobs; rest.length > 0; ) {
    const [outcomes, end] = await runChild(rest);
    for (const outcome of outcomes) onOutcome(outcome);
    rest = rest.slice(outcomes.length);
    if (end === undefined || rest.length === 0) return;
    onOutcome({ index: rest[0].index, [end.kind]: end.detail });
    rest = rest.slice(1);
  }
}

function runChild(jobs) {
  return new Promise((resolve) => {
    const outcomes = [];
    const errors = [];
    const running = spawn(process.execPath, [child], { stdio: ['pipe', 'pipe', 'pipe'] });
    let end;
    let timer;
    const rearm = () => {
      clearTimeout(timer);
      timer = setTimeout(() => {
        end = { kind: 'hang', detail: `nothing for ${HANG_MS / 1000} s` };
        running.kill('SIGKILL');
      }, HANG_MS);
    };
    rearm();
    createInterface({ input: running.stdout }).on('line', (line) => {
      outcomes.push(JSON.parse(line));
      rearm();
    });
    running.stderr.on('data', (data) => errors.push(data));
    running.stdin.end(JSON.stringify(jobs));
    running.on('close', (code, signal) => {
      clearTimeout(timer);
      if (code !== 0)
        end ??= { kind: 'crash', detail: `${signal ?? code} ${Buffer.concat(errors).toString().slice(-400)}` };
      resolve([outcomes, end]);
    });
  });
}

const scratch = mkdtempSync(join(tmpdir(), 'plenilune-fuzz-'));
const all = await seeds();
const counts = { read: 0, refused: 0, crash: 0, hang: 0, untyped: 0, memory: 0 };
const faults = [];
let peakBytes = 0;

async function judge(outcome, job) {
  if (outcome.peakBytes > MOST_BYTES) {
    // The peak counts from the start of the child: alone, a file shows its own.
    const [[alone]] = await runChild([job]);
    if (alone?.peakBytes > MOST_BYTES) return ['memory', `${Math.round(alone.peakBytes / 2 ** 20)} MiB`];
  } else {
    peakBytes = Math.max(peakBytes, outcome.peakBytes ?? 0);
  }
  for (const kind of ['crash', 'hang', 'untyped']) if (outcome[kind] !== undefined) return [kind, outcome[kind]];
  return [outcome.refused ? 'refused' : 'read'];
}

const batches = [];
for (let from = 0; from < runs; from += BATCH) batches.push(from);
async function work() {
  for (let from = batches.shift(); from !== undefined; from = batches.shift()) {
    const folder = join(scratch, `${from}`);
    mkdirSync(folder);
    const jobs = [];
    for (let index = from; index < Math.min(runs, from + BATCH); index++) {
      const seeded = randomFrom(Number(values.seed) * 1_000_003 + index);
      const { kind, extension, bytes } = choose(all, seeded);
      const path = join(folder, `${index}${extension}`);
      writeFileSync(path, mutate(bytes, seeded));
      jobs.push({ index, path, kind });
    }
    const outcomes = [];
    await runBatch(jobs, (outcome) => outcomes.push(outcome));
    for (const outcome of outcomes) {
      const job = jobs.find(({ index }) => index === outcome.index);
      const [kind, detail] = await judge(outcome, job);
      counts[kind]++;
      if (kind === 'read' || kind === 'refused') continue;
      const kept = join(root, 'out/fuzz');
      mkdirSync(kept, { recursive: true });
      cpSync(job.path, join(kept, `${outcome.index}${extname(job.path)}`));
      faults.push(`${kind}: out/fuzz/${outcome.index}${extname(job.path)} (${job.kind}): ${detail}`);
    }
    rmSync(folder, { recursive: true });
  }
}
await Promise.all(Array.from({ length: availableParallelism() }, work));
rmSync(scratch, { recursive: true });
for (const fault of faults) process.stderr.write(`${fault}\n`);
const told = Object.entries(counts).map(([kind, count]) => `${count} ${kind}`);
process.stdout.write(
  `${runs} damaged files, seed ${values.seed}: ${told.join(', ')}; peak ${Math.round(peakBytes / 2 ** 20)} MiB\n`,
);
process.exit(faults.length > 0 ? 1 : 0);
