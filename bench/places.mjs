// Passes that a search of small turns about an overlap does not place: a camera turned by any angle between them, and passes
// with a gap between, placed on a small turned picture of the whole disc or by their limb alone. Prints how each pass was
// placed and how true the plate is; exit 1 when one is not placed.
import { mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { rehearse, scorePlate, stitch } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';

const sharp = createRequire(new URL('../packages/core/package.json', import.meta.url))('sharp');
const small = { discDiameterPx: 700, overlap: 0.2, frameWidthPx: 560, frameHeightPx: 400, framesPerPass: 8 };
const gap = { discDiameterPx: 900, passes: 3, omitPasses: [1], frameWidthPx: 640, frameHeightPx: 360 };
const CASES = [
  { name: 'turned by 180 degrees', rehearsal: { ...small, seed: 41, passes: 2, rotationsDeg: [0, 180] } },
  { name: 'turned by 25 and -70 degrees', rehearsal: { ...small, seed: 41, passes: 3, rotationsDeg: [0, 25, -70] } },
  {
    name: 'a gap, guide at 0.32, 35 degrees',
    guide: true,
    rehearsal: { ...gap, seed: 31, rotationsDeg: [0, 0.5, 2.2] },
  },
  { name: 'a gap, limb and drift alone', rehearsal: { ...gap, seed: 31, rotationsDeg: [0, 0.5, 2.2] } },
];

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
try {
  const rows = [];
  for (const [k, given] of CASES.entries()) rows.push(await run(join(scratch, String(k)), given));
  printTable(['passes', 'placed by', 'geometry rms px', 'p95', 'covered', 'brightness', 'seam'], rows);
} finally {
  await rm(scratch, { recursive: true, force: true });
}

async function run(dir, { name, rehearsal, guide }) {
  await rehearse(dir, rehearsal);
  if (guide) await addGuide(dir);
  const plate = await stitch(join(dir, 'capture'), { outDir: join(dir, 'plate') });
  if (plate.passes.some((pass) => !pass.placed)) process.exitCode = 1;
  const score = await scorePlate(plate.platePath, dir);
  return [
    name,
    plate.passes.map((pass) => pass.placedBy ?? '-').join(', '),
    score.geometryRmsPx.toFixed(3),
    score.geometryP95Px.toFixed(3),
    score.covered.toFixed(3),
    score.lowfreqLogRatioStd.toFixed(4),
    score.seamGradP999?.toFixed(2) ?? '-',
  ];
}

/** The scene itself at 0.32 of the frames' scale, turned, in 8 bits. */
async function addGuide(dir) {
  const { os } = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
  const { width } = await sharp(join(dir, 'truth.png')).metadata();
  const scene = sharp(join(dir, 'truth.png')).toColourspace('b-w').gamma(2.2);
  const reduced = await scene
    .resize({ width: Math.round((0.32 * width) / os) })
    .png()
    .toBuffer();
  await mkdir(join(dir, 'capture', 'guide'));
  const turned = await sharp(reduced).rotate(35, { background: '#000' }).removeAlpha().png().toBuffer();
  await writeFile(join(dir, 'capture', 'guide', 'whole.png'), turned);
}
