// Ten rehearsals of different seeds, disc sizes, 2 to 4 passes and rotations up to 3 degrees, each with the seeing warps
// off and on: stitched, then scored against their truth. Prints a table and whether each bar is reached; exit 1 if not.
// Arguments: numbers of the rehearsals to run, from 0; none runs all. After --seeds: other seeds for them, to see how much
// of a figure is the draw; the last lines then give the mean over the seeds.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { REHEARSAL_DEFAULTS, rehearse, scorePlate, stitch } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';
import { CASES } from './rehearsal-cases.mjs';

const WARPS_OFF_BAR_PX = 0.15;
const WARPS_ON_BAR = 1.3;
const words = process.argv.slice(2);
const at = words.includes('--seeds') ? words.indexOf('--seeds') : words.length;
const chosen = words.slice(0, at).map(Number);
const seeds = words.slice(at + 1).map(Number);
const ratios = new Map();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
let reached = true;
printMachine();
try {
  const rows = [];
  for (const [index, settings] of CASES.entries()) {
    if (chosen.length > 0 && !chosen.includes(index)) continue;
    for (const seed of seeds.length > 0 ? seeds : [settings.seed]) {
      for (const warps of [false, true]) {
        rows.push(await runCase(index, { ...settings, seed }, warps));
        process.stderr.write(`${rows.at(-1).join(' ')}\n`);
      }
    }
  }
  printTable(
    [
      'case',
      'seed',
      'disc',
      'passes',
      'warps',
      'whole',
      'geom rms',
      'bar',
      'reached',
      'p95',
      'brightness',
      'seam',
      'transfer',
      'stitch s',
    ],
    rows,
  );
  if (seeds.length > 1)
    for (const [key, values] of ratios)
      console.log(`${key}: ${(values.reduce((sum, v) => sum + v, 0) / values.length).toFixed(2)} x the bar on average`);
} finally {
  await rm(scratch, { recursive: true, force: true });
}
process.exitCode = reached ? 0 : 1;

async function runCase(index, given, warps) {
  const dir = join(scratch, `${index}-${warps}`);
  const seeing = { ...REHEARSAL_DEFAULTS.seeing, ...(warps ? {} : { warpPx: 0 }) };
  await rehearse(dir, { ...given, seeing });
  const started = performance.now();
  const result = await stitch(join(dir, 'capture'), { outDir: join(dir, 'plate') });
  const seconds = (performance.now() - started) / 1000;
  const truth = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
  const bar = warps ? WARPS_ON_BAR * truth.mean_warp.rms_px : WARPS_OFF_BAR_PX;
  let score;
  try {
    score = await scorePlate(result.platePath, dir);
  } catch (error) {
    reached = false;
    return [
      index,
      given.seed,
      given.discDiameterPx,
      given.passes,
      warps,
      result.complete,
      error.code,
      bar.toFixed(3),
      'NO',
      '',
      '',
      '',
      '',
      seconds.toFixed(1),
    ];
  }
  const ratio = score.geometryRmsPx / bar;
  const key = `case ${index}, warps ${warps ? 'on' : 'off'}`;
  ratios.set(key, [...(ratios.get(key) ?? []), ratio]);
  const good = score.geometryRmsPx <= bar && result.complete && score.covered > 0.999;
  reached &&= good;
  await rm(dir, { recursive: true });
  return [
    index,
    given.seed,
    given.discDiameterPx,
    given.passes,
    warps ? 'on' : 'off',
    result.complete ? score.covered.toFixed(4) : `gap ${score.covered.toFixed(3)}`,
    score.geometryRmsPx.toFixed(3),
    bar.toFixed(3),
    good ? 'yes' : 'NO',
    score.geometryP95Px.toFixed(3),
    score.lowfreqLogRatioStd.toFixed(4),
    score.seamGradP999?.toFixed(2) ?? '-',
    score.transfer.map((v) => v.toFixed(2)).join(' '),
    seconds.toFixed(1),
  ];
}
