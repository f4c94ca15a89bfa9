// Size: what a stitch takes in time, memory and disk. Arguments, all by default but 6k and 16k, which take long:
//   6k      3 passes of 12 frames of 6144 x 3456 px, 16 bits, beside known_poses.py --keep 1.0; then with twice the frames.
//           Takes the folder of such a rehearsal as a further argument, since making it takes some minutes
//   frames  passes of 12 to 96 frames: growth of time with frames
//   pixels  one capture, its frames enlarged 1 to 4 times (8 times with 16k): growth of time with the plate's pixels
//   16k     adds a plate of some 16 000 x 16 000 px to that, held to 2 GiB
// Growth is the exponent from one row to the next. Needs the Debian packages that bench stitch needs.
import { execFileSync } from 'node:child_process';
import { copyFile, mkdir, mkdtemp, readdir, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { rehearse } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';

const sharp = createRequire(new URL('../packages/core/package.json', import.meta.url))('sharp');
const here = (file) => fileURLToPath(new URL(file, import.meta.url));
const HEADER = [
  'capture',
  'plate px',
  'wall s',
  'growth',
  'cores',
  'peak MiB',
  'read MiB',
  'written MiB',
  'scratch MiB',
];
const BIG = {
  ...{ seed: 5, discDiameterPx: 8400, frameWidthPx: 6144, frameHeightPx: 3456, passes: 3, framesPerPass: 12, bits: 16 },
  seeing: { tiltPx: 4, warpPx: 2.5, blurPx: [1.4, 2.4], correlationFrames: 0.8, correlationShare: 0.16 },
};
const SMALL = { seed: 6, discDiameterPx: 1500, frameWidthPx: 960, frameHeightPx: 640, passes: 3, bits: 8 };

printMachine();
const wanted = process.argv.length > 2 ? process.argv.slice(2) : ['frames', 'pixels'];
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-size-'));
let missed = 0;
try {
  if (wanted.includes('6k')) await sixK();
  if (wanted.includes('frames')) await growthWithFrames();
  if (wanted.includes('pixels') || wanted.includes('16k')) await growthWithPixels(wanted.includes('16k'));
} finally {
  await rm(scratch, { recursive: true, force: true });
}
console.log(`${missed} figures miss their bar`);
process.exitCode = missed === 0 ? 0 : 1;

/** Stitches in a process of its own. */
async function stitched(capture, memory = '') {
  const out = join(scratch, 'plate');
  const text = execFileSync(process.execPath, [here('stitch-child.mjs'), capture, out, memory], { encoding: 'utf8' });
  await rm(out, { recursive: true, force: true });
  return JSON.parse(text);
}

function rowOf(name, run, growth = '') {
  const cells = [run.cpuS / run.wallS, run.peakMiB, run.readMiB, run.writtenMiB, run.scratchMiB];
  const [cores, ...amounts] = cells;
  const plate = `${run.widthPx} x ${run.heightPx}`;
  return [name, plate, run.wallS.toFixed(1), growth, cores.toFixed(2), ...amounts.map((v) => Math.round(v))];
}

function printRows(rows, runs) {
  printTable(HEADER, rows);
  console.log('Seconds by stage:');
  for (const [i, { stages }] of runs.entries()) {
    const parts = Object.entries(stages).map(([stage, s]) => `${stage} ${s.toFixed(1)}`);
    console.log([rows[i][0], ...parts].join('  '));
  }
  console.log('');
}

function judge(what, value, most) {
  const isReached = value <= most;
  if (!isReached) missed++;
  console.log(`${what}: ${value.toFixed(2)} (<= ${most})${isReached ? '' : '  MISSES'}`);
}

async function sixK() {
  const made = wanted[wanted.indexOf('6k') + 1];
  const truth = made ?? join(scratch, '6k');
  if (made === undefined) await rehearse(truth, BIG);
  const started = performance.now();
  const tool = here('../../shared/tools/known_poses.py');
  execFileSync('/usr/bin/python3', [tool, truth, join(scratch, 'known.tif'), '--keep', '1.0']);
  const knownS = (performance.now() - started) / 1000;
  const once = await stitched(join(truth, 'capture'));
  const twice = await stitched(await doubled(join(truth, 'capture')));
  printRows([rowOf('3 x 12 frames of 6K', once), rowOf('3 x 24 frames of 6K', twice)], [once, twice]);
  console.log(`known poses: ${knownS.toFixed(1)} s`);
  judge('wall time against known poses', once.wallS / knownS, 1);
  judge('peak memory, GiB', once.peakMiB / 1024, 2.5);
  judge('peak memory with twice the frames, times', twice.peakMiB / once.peakMiB, 1.05);
}

/** The same passes once more, back again. */
async function doubled(capture) {
  const out = join(scratch, 'doubled');
  const entries = await readdir(capture, { withFileTypes: true });
  for (const { name: pass } of entries.filter((entry) => entry.isDirectory())) {
    await mkdir(join(out, pass), { recursive: true });
    const files = (await readdir(join(capture, pass))).sort();
    const all = [...files, ...[...files].reverse()];
    for (const [k, file] of all.entries()) {
      await copyFile(join(capture, pass, file), join(out, pass, `f_${String(k).padStart(4, '0')}.png`));
    }
  }
  return out;
}

async function growthWithFrames() {
  const rows = [];
  const runs = [];
  for (const framesPerPass of [8, 16, 32, 64]) {
    const truth = join(scratch, `frames-${framesPerPass}`);
    await rehearse(truth, { ...SMALL, framesPerPass });
    const run = await stitched(join(truth, 'capture'));
    const growth = runs.length > 0 ? Math.log2(run.wallS / runs.at(-1).wallS) : undefined;
    rows.push(rowOf(`${3 * framesPerPass} frames`, run, growth?.toFixed(2)));
    runs.push(run);
  }
  printRows(rows, runs);
  judge('growth of time with frames, exponent', Math.log(runs.at(-1).wallS / runs[0].wallS) / Math.log(8), 1.1);
}

async function growthWithPixels(withLargest) {
  const truth = join(scratch, 'pixels');
  await rehearse(truth, { ...SMALL, discDiameterPx: 1800, passes: 4, framesPerPass: 6 });
  const rows = [];
  const runs = [];
  for (const times of withLargest ? [1, 2, 4, 8] : [1, 2, 4]) {
    const capture = times === 1 ? join(truth, 'capture') : await enlarged(join(truth, 'capture'), times);
    const run = await stitched(capture, times === 8 ? String(2 ** 31) : '');
    if (times > 1) await rm(capture, { recursive: true, force: true });
    const growth = runs.length > 0 ? Math.log(run.wallS / runs.at(-1).wallS) / Math.log(4) : undefined;
    rows.push(rowOf(`frames x ${times}`, run, growth?.toFixed(2)));
    runs.push(run);
  }
  printRows(rows, runs);
  const ratio = (runs.at(-1).widthPx * runs.at(-1).heightPx) / (runs[0].widthPx * runs[0].heightPx);
  judge('growth of time with pixels, exponent', Math.log(runs.at(-1).wallS / runs[0].wallS) / Math.log(ratio), 1.1);
}

async function enlarged(capture, times) {
  const out = join(scratch, `times-${times}`);
  const entries = await readdir(capture, { withFileTypes: true });
  for (const { name: pass } of entries.filter((entry) => entry.isDirectory())) {
    await mkdir(join(out, pass), { recursive: true });
    for (const file of await readdir(join(capture, pass))) {
      const picture = sharp(join(capture, pass, file), { limitInputPixels: false });
      const { width } = await picture.metadata();
      const large = picture.resize({ width: width * times, kernel: 'cubic' });
      await large.tiff({ compression: 'none' }).toFile(join(out, pass, `${file}.tif`));
    }
  }
  return out;
}
