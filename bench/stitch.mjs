// Plates, stitched, beside those that perfect knowledge of poses, gains, sky and flat field gives from the same frames
// (../shared/tools/known_poses.py --keep 1.0). Both are scored by ../shared/tools/score.py, which knows neither. Figures
// in brackets are ratios to that yardstick; one that misses its bar carries an exclamation mark. Then stage times.
// Arguments: names of CAPTURES, all by default; rehearsal-N takes rehearsal N of rehearsals.mjs, from 0.
// Needs Debian's python3-numpy, python3-scipy, python3-skimage, python3-opencv and python3-tifffile.
import { execFileSync } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { rehearse, stitch } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';
import { CASES } from './rehearsal-cases.mjs';

const WINDY = { tiltPx: 2.5, warpPx: 0.9, blurPx: [1, 2], correlationFrames: 0.8, correlationShare: 0.16 };
/** A made capture with its truth, or the settings of a rehearsal. */
const CAPTURES = {
  open_halves: null,
  open_clips: null,
  'four passes': CASES[3],
  dusk: { seed: 78, dusk: 0.12, duskHalvingPasses: 0.7, sky: 0.02, passes: 3, framesPerPass: 24 },
  'faint and windy': {
    ...{ seed: 77, gain: 0.12, gainSpread: 0.1, readNoiseElectrons: 14, fullWellElectrons: 20000, bits: 16 },
    seeing: WINDY,
  },
};
/** What is scored, its place in the score, and its bar: a ratio to the yardstick, to stay below or to reach. */
const FIGURES = [
  ['geometry px', (s) => s.geom_rms_px, 'most', 1],
  ['brightness', (s) => s.lowfreq_log_ratio_std, 'most', 1.2],
  ['seam', (s) => s.seam_grad_p999, 'most', 1],
  ['transfer 3', (s) => s.transfer[2], 'least', 1.15],
  ['transfer 4', (s) => s.transfer[3], 'least', 1.3],
  ['coherence 3', (s) => s.coherence[2], 'least', 1],
  ['coherence 4', (s) => s.coherence[3], 'least', 1.1],
  ['wall s', (s) => s.wallS, 'most', 1],
];

const shared = fileURLToPath(new URL('../../shared', import.meta.url));
const python = (tool, ...args) =>
  execFileSync('/usr/bin/python3', [join(shared, 'tools', tool), ...args], { encoding: 'utf8' });
const settingsOf = (name) => {
  const rehearsal = /^rehearsal-(\d)$/.exec(name);
  if (rehearsal) return CASES[Number(rehearsal[1])];
  if (name in CAPTURES) return CAPTURES[name];
  console.error(`no capture "${name}"; there are ${Object.keys(CAPTURES).join(', ')} and rehearsal-0 to rehearsal-9`);
  process.exit(2);
};

printMachine();
const wanted = process.argv.length > 2 ? process.argv.slice(2) : Object.keys(CAPTURES);
const captures = wanted.map((name) => ({ name, settings: settingsOf(name) }));
const rows = [];
const stageRows = [];
let missed = 0;
for (const { name, settings } of captures) {
  const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
  try {
    const truth = settings ? join(scratch, 'rehearsal') : join(shared, 'real', 'captures', name);
    if (settings) await rehearse(truth, settings);
    const known = knownPlate(truth, join(scratch, 'known.tif'));
    const { score: ours, stages } = await stitchedPlate(truth, join(scratch, 'plate'));
    const cells = FIGURES.map(([, of, kind, bar]) => {
      const ratio = of(ours) / of(known);
      const isReached = kind === 'most' ? ratio <= bar : ratio >= bar;
      if (!isReached) missed++;
      return `${of(ours)} (${ratio.toFixed(2)}${isReached ? '' : '!'})`;
    });
    rows.push([name, ...cells, ours.covered]);
    rows.push(['  known poses', ...FIGURES.map(([, of]) => of(known)), known.covered]);
    stageRows.push([name, ...[...stages].map(([stage, ms]) => `${stage} ${(ms / 1000).toFixed(1)}`)]);
  } finally {
    await rm(scratch, { recursive: true, force: true });
  }
}
const bars = FIGURES.map(([, , kind, bar]) => `${kind === 'most' ? '<=' : '>='} ${bar}`);
printTable(['plate', ...FIGURES.map(([title]) => title), 'covered'], [['bar', ...bars, ''], ...rows]);
console.log('Seconds by stage, summed over the passes:');
for (const row of stageRows) console.log(row.join('  '));
console.log(`\n${missed} of ${captures.length * FIGURES.length} figures miss their bar`);
process.exitCode = missed === 0 ? 0 : 1;

function knownPlate(truth, plate) {
  const started = performance.now();
  python('known_poses.py', truth, plate, '--keep', '1.0');
  return scored(plate, truth, started);
}

async function stitchedPlate(truth, outDir) {
  const stages = new Map();
  const onProgress = (event) => {
    if (event.kind === 'stage-end') stages.set(event.stage, (stages.get(event.stage) ?? 0) + event.elapsedMs);
  };
  const started = performance.now();
  const { platePath } = await stitch(join(truth, 'capture'), { outDir, onProgress });
  return { score: scored(platePath, truth, started), stages };
}

/** The scorer's figures, with the seconds since the plate was begun. */
function scored(plate, truth, started) {
  const wallS = Number(((performance.now() - started) / 1000).toFixed(1));
  return { ...JSON.parse(python('score.py', plate, truth)), wallS };
}
