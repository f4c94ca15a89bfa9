// Ten rehearsals of different seeds, disc sizes, 2 to 4 passes and rotations up to 3 degrees, each with the seeing warps
// off and on: stitched, then scored against their truth. Prints a table and whether each bar is reached; exit 1 if not.
// Arguments: numbers of the rehearsals to run, from 0; none runs all.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { REHEARSAL_DEFAULTS, rehearse, scorePlate, stitch } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';

const WARPS_OFF_BAR_PX = 0.15;
const WARPS_ON_BAR = 1.3;
const CASES = [
  { seed: 101, discDiameterPx: 1150, passes: 2, phaseAngleDeg: 64 },
  {
    seed: 102,
    discDiameterPx: 900,
    passes: 2,
    phaseAngleDeg: 88,
    rotationsDeg: [0, 3],
    frameWidthPx: 800,
    frameHeightPx: 560,
  },
  { seed: 103, discDiameterPx: 1400, passes: 3, phaseAngleDeg: 40, rotationsDeg: [0, -2, 1.5], framesPerPass: 10 },
  {
    seed: 104,
    discDiameterPx: 1300,
    passes: 4,
    phaseAngleDeg: 75,
    rotationsDeg: [0, 1, -3, 2],
    frameWidthPx: 720,
    frameHeightPx: 480,
  },
  { seed: 105, discDiameterPx: 1000, passes: 2, phaseAngleDeg: 20, rotationsDeg: [0, -3], bits: 16, format: 'tif' },
  {
    seed: 106,
    discDiameterPx: 1250,
    passes: 3,
    phaseAngleDeg: 100,
    brightLimbDeg: 40,
    declinationDeg: -26,
    dusk: 0.03,
  },
  {
    seed: 107,
    discDiameterPx: 800,
    passes: 2,
    phaseAngleDeg: 55,
    frameWidthPx: 640,
    frameHeightPx: 480,
    framesPerPass: 20,
  },
  {
    seed: 108,
    discDiameterPx: 1500,
    passes: 3,
    phaseAngleDeg: 70,
    rotationsDeg: [0, 2.5, -2.5],
    vignetting: 0.25,
    dust: 20,
  },
  {
    seed: 109,
    discDiameterPx: 1150,
    passes: 4,
    phaseAngleDeg: 64,
    rotationsDeg: [0, 1, 2, 3],
    fullWellElectrons: 8000,
    frameHeightPx: 420,
  },
  { seed: 110, discDiameterPx: 1100, passes: 2, phaseAngleDeg: 110, brightLimbDeg: -60, declinationDeg: 28 },
];

const chosen = process.argv.slice(2).map(Number);
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
let reached = true;
printMachine();
try {
  const rows = [];
  for (const [index, settings] of CASES.entries()) {
    if (chosen.length > 0 && !chosen.includes(index)) continue;
    for (const warps of [false, true]) rows.push(await runCase(index, settings, warps));
    process.stderr.write(
      `${rows
        .slice(-2)
        .map((row) => row.join(' '))
        .join('\n')}\n`,
    );
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
