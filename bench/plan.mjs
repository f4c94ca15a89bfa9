// Plans of random optics, sensors, sites and nights, rehearsed with the aims as wrong as the plan allows for, and checked:
// is the disc complete wherever a plan was called feasible? How many passes above the fewest does a plan take?
// Arguments: a number of nights (default 500); a second one is the first night (default 0); geometry: nothing is rehearsed or
// checked, only where the frames lie is worked out.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { checkCapture, plan, planRehearsal, REHEARSAL_DEFAULTS, rehearse } from '../packages/core/dist/index.js';
import { fewestPasses } from './fewest-passes.mjs';
import { printMachine, printTable } from './machine.mjs';

const words = process.argv.slice(2);
const [count = 500, first = 0] = words.map(Number).filter((value) => !Number.isNaN(value));
const DAY_MS = 86_400_000;

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
const faults = [];
const above = new Map();
const refused = new Map();
let [feasible, complete, passes, thin, enlarged] = [0, 0, 0, 0, 0];
let [worst, worstNight] = [2, -1];
let [rehearsed, seconds] = [0, 0];
try {
  for (let night = first; night < first + count; night++) await rehearseNight(night);
} finally {
  await rm(scratch, { recursive: true, force: true });
}
printTable(
  [
    'nights',
    'feasible',
    'too thin a crescent to draw',
    'rehearsed',
    'passes',
    'complete',
    'enlarged',
    'least covered',
    's a rehearsal',
  ],
  [
    [
      ...[count, feasible, thin, rehearsed, passes, complete, enlarged],
      `${(100 * Math.min(1, worst)).toFixed(2)} %${worst < 1 ? ` (night ${worstNight})` : ''}`,
      (seconds / Math.max(1, rehearsed)).toFixed(2),
    ],
  ],
);
printTable(
  ['passes above the fewest', 'plans'],
  [...above].sort(([a], [b]) => a - b),
);
if (refused.size > 0) printTable(['not feasible', 'nights'], [...refused]);
if (faults.length > 0) printTable(['night', 'passes', 'fault'], faults);
process.exitCode = faults.length === 0 ? 0 : 1;

async function rehearseNight(night) {
  const options = drawNight(createRandom(`plan ${night}`));
  const made = plan(options);
  if (!made.feasible) {
    const why =
      made.windows.length === 0 ? 'no window' : made.reason.includes('lasts') ? 'too short' : 'no aims would do';
    refused.set(why, (refused.get(why) ?? 0) + 1);
    return;
  }
  feasible++;
  const { shots } = made;
  const more = shots.passes.length - fewestPasses(options, shots, made.windows[0]);
  above.set(more, (above.get(more) ?? 0) + 1);
  if (more > 1) faults.push([night, shots.passes.length, `${more} passes above the fewest`]);
  const shown = shareShown(planRehearsal(options, shots, { seed: night }));
  if (shown < worst) [worst, worstNight] = [shown, night];
  if (shown < 1) faults.push([night, shots.passes.length, `the frames show ${(100 * shown).toFixed(2)} % of the disc`]);
  if (words.includes('geometry')) return;
  // Crescents below 7 % are beyond what a rehearsal draws.
  if (shots.disc.phaseAngleDeg > 150) {
    thin++;
    return;
  }
  const began = performance.now();
  // Small frames save time; what they leave in doubt is rehearsed as large as `check` looks at those of a camera.
  let found = await rehearseAt(night, options, shots, smallSide(options, shots), 5);
  if (!found.complete) {
    enlarged++;
    found = await rehearseAt(night, options, shots, realSide(options), 8);
  }
  seconds += (performance.now() - began) / 1000;
  rehearsed++;
  passes += shots.passes.length;
  if (found.complete) complete++;
  else faults.push([night, shots.passes.length, found.words]);
  if (process.env.PLAN_VERBOSE) {
    const figures = [
      night,
      shots.passes.length,
      more,
      found.complete,
      found.size,
      Math.round(shots.disc.phaseAngleDeg),
    ];
    console.log(...figures, ((performance.now() - began) / 1000).toFixed(1), found.words);
  }
}

async function rehearseAt(night, options, shots, shorterSidePx, framesPerCrossing) {
  const dir = join(scratch, 'night');
  const planned = planRehearsal(options, shots, { seed: night, shorterSidePx, framesPerCrossing });
  const seeing = { ...REHEARSAL_DEFAULTS.seeing, tiltPx: 0.4, warpPx: 0, blurPx: [0.6, 0.7] };
  await rehearse(dir, { ...planned, seeing, dust: 3, hotPixels: 4 }, { force: true });
  const size = `${planned.frameWidthPx}x${planned.frameHeightPx}`;
  try {
    const { complete, look } = await checkCapture(join(dir, 'capture'), { workers: 1 });
    return { complete, size, words: look.findings.map(({ detail }) => detail).join(' ') };
  } catch (error) {
    return { complete: false, size, words: error.message };
  }
}

/** Share of places all over the disc, dark ones too, that the frames show. */
function shareShown({ discDiameterPx, frameWidthPx, frameHeightPx, tracks }) {
  let [seen, all] = [0, 0];
  for (let row = -0.99; row < 1; row += 0.02) {
    for (let column = -0.99; column < 1; column += 0.02) {
      if (Math.hypot(row, column) > 1) continue;
      all++;
      const [x, y] = [(column * discDiameterPx) / 2, (row * discDiameterPx) / 2];
      const isShown = tracks.some((track) =>
        track.some(({ cx, cy, thetaDeg, squeeze }) => {
          const [u, v] = [x - cx, (y - cy) / squeeze];
          const [c, s] = [Math.cos((thetaDeg * Math.PI) / 180), Math.sin((thetaDeg * Math.PI) / 180)];
          return Math.abs(u * c + v * s) <= frameWidthPx / 2 && Math.abs(v * c - u * s) <= frameHeightPx / 2;
        }),
      );
      if (isShown) seen++;
    }
  }
  return seen / all;
}

/** A disc of some 420 px, and no side below 110 px. */
function smallSide({ sensor }, { disc }) {
  const side = Math.min(sensor.widthPx, sensor.heightPx);
  return Math.round(Math.min(360, Math.max(110, (420 * side) / (2 * disc.radiusPx))));
}

/** The longer side has 640 px: `check` takes no frames of a camera further down. */
function realSide({ sensor: { widthPx, heightPx } }) {
  return Math.round((640 * Math.min(widthPx, heightPx)) / Math.max(widthPx, heightPx));
}

function drawNight(random) {
  const between = (least, most) => least + (most - least) * random.uniform();
  const whole = (least, most) => Math.floor(between(least, most + 1));
  const one = (...list) => list[whole(0, list.length - 1)];
  const pitchUm = one(2.4, 2.9, 3.76, 4.5, 5.5, 6, 9);
  const widthPx = whole(1200, 8200);
  const heightPx = Math.round(widthPx * one(1, 3 / 4, 2 / 3, 9 / 16, 9 / 16, 1080 / 2048, 5 / 12));
  const upright = random.uniform() < 0.15;
  const reducer = one(0.63, 0.8, 1, 1, 1, 1.4, 2);
  // The frame's shorter side is 0.22 to 1.5 discs.
  const discs = 0.22 * (1.5 / 0.22) ** random.uniform();
  const focalLengthMm = (206.265 * pitchUm * heightPx) / (1865 * discs) / reducer;
  const from = new Date(Date.UTC(2025, 0, 1) + Math.floor(between(0, 12 * 365)) * DAY_MS);
  return {
    site: { latitudeDeg: between(-62, 62), longitudeDeg: between(-180, 180), heightM: between(0, 3500) },
    optics: { focalLengthMm, reducer, apertureMm: between(60, 400) },
    sensor: {
      ...(upright ? { widthPx: heightPx, heightPx: widthPx } : { widthPx, heightPx }),
      ...{ pitchUm, readoutMs: one(0, 8, 15, 25) },
    },
    ...{ from, to: new Date(from.getTime() + whole(1, 3) * DAY_MS) },
    wish: { leastAltitudeDeg: between(6, 35), sky: one('dark', 'twilight', 'any') },
    ...{
      pointingErrorArcsec: between(0, 120),
      overlap: one(0.15, 0.15, 0.15, 0.2, 0.25, 0.35),
      reaimS: between(20, 150),
    },
    ...(random.uniform() < 0.3 ? { rollDeg: between(-180, 180) } : {}),
  };
}
