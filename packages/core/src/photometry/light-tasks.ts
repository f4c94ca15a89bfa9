import { compose } from '../compute/affine.js';
import { defineTask, type Task } from '../compute/task.js';
import type { SeenFrame } from '../registration/seeing-stage.js';
import { observeGround } from './ground.js';
import type { PlacedPass } from './light-stage.js';
import { flatPattern, patternAt } from './pattern.js';
import { type LightProblem, type SolvedLight, solveLight } from './solve-light.js';

/** A frame that takes part in the solve, and the pass that it is of. */
export interface LightEntry {
  readonly frame: SeenFrame;
  readonly pass: number;
}

/** What the frames recorded, and what the solves start from; frames are in the order of {@link lightEntries}. */
export interface LightObserved {
  /** The mean of all channels, with a flat pattern and level skies. */
  readonly start: Omit<LightProblem, 'solvePattern'>;
  /** Each channel's own light and skies. */
  readonly channels: readonly Pick<LightProblem, 'value' | 'skyStart'>[];
}

/** Most frames of a pass that take part in the joint solve; more would not change it. */
const MOST_FRAMES = 48;

/** The frames that take part, spread evenly over each pass. */
export function lightEntries(passes: readonly PlacedPass[]): readonly LightEntry[] {
  return passes.flatMap(({ tracked }, pass) =>
    spreadOut(tracked.frames, MOST_FRAMES).map((frame) => ({ frame, pass })),
  );
}

/** Channels of the pass that has most. */
export function channelsOf(passes: readonly PlacedPass[]): number {
  return Math.max(...passes.map(({ tracked }) => tracked.graded.pass.channels));
}

/** Reads off what all frames recorded of the same ground. */
export const observeLightTask: Task<readonly PlacedPass[], LightObserved> = defineTask('photometry/light-observe');

export function observeLight(passes: readonly PlacedPass[]): LightObserved {
  const entries = lightEntries(passes);
  const channels = channelsOf(passes);
  const lit = entries.map(({ frame, pass }) => ({
    pose: compose(passes[pass]!.pose, frame.pose),
    widthPx: frame.proxy.width,
    heightPx: frame.proxy.height,
    blocks: frame.blocks,
    skyStart: Array.from({ length: channels }, (_, c) => darkest(frame.blocks.means[c] ?? frame.blocks.means[0]!)),
  }));
  const { value, ...ground } = observeGround(lit);
  const { width, height } = passes[0]!.tracked.frames[0]!.proxy;
  return {
    start: {
      ground,
      value: meanOf(value, channels),
      passOf: entries.map(({ pass }) => pass),
      skyStart: lit.map(({ skyStart }) => skyStart.reduce((sum, v) => sum + v, 0) / channels),
      pattern: flatPattern(width, height),
      slopes: passes.map(() => [0, 0] as const),
    },
    channels: value.map((own, c) => ({ value: own, skyStart: lit.map(({ skyStart }) => skyStart[c]!) })),
  };
}

/** Solves for the sensor's pattern and the skies' slopes, in the mean of all channels. */
export const jointLightTask: Task<Omit<LightProblem, 'solvePattern'>, SolvedLight> = defineTask(
  'photometry/light-joint',
);

/** A pattern is solved for when the body has moved over the sensor often enough to show it, and kept when plausible. */
export function solveJointly(start: Omit<LightProblem, 'solvePattern'>): SolvedLight {
  if (start.passOf.length >= LEAST_FRAMES_FOR_PATTERN) {
    const solved = solveLight({ ...start, solvePattern: true });
    const { halfWidth, halfHeight } = solved.pattern;
    const corners = [-1, 1].flatMap((u) =>
      [-1, 1].map((v) => patternAt(solved.pattern, u * halfWidth, v * halfHeight)),
    );
    if (Math.min(...corners) > DARKEST_CORNER && Math.max(...corners) < BRIGHTEST_CORNER) return solved;
  }
  return solveLight({ ...start, solvePattern: false });
}

/** With fewer frames, vignetting cannot be told from the ground. */
const LEAST_FRAMES_FOR_PATTERN = 8;
/** Optics darken corners, by no more than this against the middle; what lies outside is a fit gone astray. */
const DARKEST_CORNER = 0.15;
const BRIGHTEST_CORNER = 1.1;

/** Solves for the gains and skies of one channel, with pattern and slopes as they are. */
export const channelLightTask: Task<LightProblem, SolvedLight> = defineTask('photometry/light-channel');

function spreadOut(frames: readonly SeenFrame[], most: number): readonly SeenFrame[] {
  if (frames.length <= most) return frames;
  return Array.from({ length: most }, (_, i) => frames[Math.round((i * (frames.length - 1)) / (most - 1))]!);
}

function meanOf(values: readonly Float32Array[], channels: number): Float32Array {
  const out = new Float32Array(values[0]!.length);
  for (const value of values) for (let i = 0; i < out.length; i++) out[i]! += value[i]! / channels;
  return out;
}

/** Mean of the darkest 2 % of the blocks. */
function darkest(plane: Float32Array): number {
  const sorted = Float32Array.from(plane).sort();
  const least = sorted.subarray(0, Math.max(1, Math.floor(sorted.length * 0.02)));
  return least.reduce((sum, v) => sum + v, 0) / least.length;
}
