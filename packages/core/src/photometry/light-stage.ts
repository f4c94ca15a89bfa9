import { type Affine, compose } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-grid.js';
import { defineTask, type Task } from '../compute/task.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { SeenFrame, SeenPass } from '../registration/seeing-stage.js';
import type { FrameCorrection } from './correct-frame.js';
import { observeGround } from './ground.js';
import { flatPattern, patternAt, type SmoothPattern } from './pattern.js';
import { type LightProblem, type SolvedLight, solveLight } from './solve-light.js';

/** A pass with its pose on the plate. */
export interface PlacedPass {
  readonly tracked: SeenPass;
  /** The track's space -> plate px, both at proxy scale. */
  readonly pose: Affine;
  /** What it is still bent by, in the space of the plate at proxy scale. */
  readonly join: BendGrid;
}

/** How the light of every frame becomes light of the plate. */
export interface PlateLight {
  readonly pattern: SmoothPattern;
  /** By pass, then by frame: recorded / pattern = gain · plate light + sky + slope · position, by channel. */
  readonly corrections: readonly (readonly FrameCorrection[])[];
  /** The pass whose light and sky the plate keeps. */
  readonly referencePass: number;
  /** Robust spread of what the model leaves, relative. */
  readonly residual: number;
}

/** Most frames of a pass that take part in the joint solve; more would not change it. */
const MOST_FRAMES = 48;

/**
 * Stage: one solve for the light of all frames of all passes and the sensor's smooth pattern. The plate keeps the light
 * and the sky of one pass, the one with the least sky against its gain; of the others only the difference is removed.
 */
export async function lightStage(context: JobContext, passes: readonly PlacedPass[]): Promise<PlateLight> {
  const artefact = await runStage(context, {
    name: 'light',
    key: passes.map((p) => ({
      pose: p.pose,
      bin: p.tracked.graded.binFactor,
      frames: p.tracked.frames.map((f) => [...frameKey(f), f.pose]),
    })),
    run: () => context.pool.run(lightTask, passes, { signal: context.signal }),
  });
  return artefact.result;
}

/** Solves in a worker, so that the main thread goes on answering. */
export const lightTask: Task<readonly PlacedPass[], PlateLight> = defineTask('photometry/light');

export function solvePlateLight(passes: readonly PlacedPass[]): PlateLight {
  const chosen = passes.map((p) => spreadOut(p.tracked.frames, MOST_FRAMES));
  const channels = Math.max(...passes.map((p) => p.tracked.graded.pass.channels));
  const entries = chosen.flatMap((frames, p) => frames.map((frame) => ({ frame, p })));
  const lit = entries.map(({ frame, p }) => ({
    pose: compose(passes[p]!.pose, frame.pose),
    widthPx: frame.proxy.width,
    heightPx: frame.proxy.height,
    blocks: frame.blocks,
    skyStart: Array.from({ length: channels }, (_, c) => darkest(frame.blocks.means[c] ?? frame.blocks.means[0]!)),
  }));
  const ground = observeGround(lit);
  const { width, height } = passes[0]!.tracked.frames[0]!.proxy;
  const mean = meanOf(ground.value, channels);
  const skyMean = lit.map((f) => f.skyStart.reduce((s, v) => s + v, 0) / channels);
  const passOf = entries.map((entry) => entry.p);
  const level = passes.map(() => [0, 0] as const);
  const start = { ground, value: mean, passOf, skyStart: skyMean, pattern: flatPattern(width, height), slopes: level };
  const joint = solveJointly(start);
  const byChannel = ground.value.map((value, c) =>
    solveLight({
      ground,
      value,
      passOf,
      skyStart: lit.map((f) => f.skyStart[c]!),
      pattern: joint.pattern,
      slopes: joint.slopes,
      solvePattern: false,
    }),
  );
  const of = (c: number, e: number): { gain: number; sky: number } => ({
    gain: byChannel[c]!.gain[e]!,
    sky: byChannel[c]!.sky[e]!,
  });
  const summary = passes.map((_, p) => {
    const own = entries.flatMap((entry, e) => (entry.p === p ? [e] : []));
    return byChannel.map((_, c) => ({
      gain: average(own.map((e) => of(c, e).gain)),
      sky: average(own.map((e) => of(c, e).sky)),
    }));
  });
  const skyShare = summary.map((s) => average(s.map(({ gain, sky }) => sky / gain)));
  const referencePass = skyShare.indexOf(Math.min(...skyShare));
  const keep = summary[referencePass]!;
  const corrections = passes.map((p, index) =>
    p.tracked.frames.map((frame) => {
      const e = nearestEntry(entries, index, frame);
      const gain = keep.map(({ gain }, c) => of(c, e).gain / gain);
      const [slopeX, slopeY] = joint.slopes[index]!;
      return {
        gain,
        sky: keep.map(({ sky }, c) => of(c, e).sky - sky * gain[c]!),
        slopeX: keep.map((_, c) => slopeX * of(c, e).sky),
        slopeY: keep.map((_, c) => slopeY * of(c, e).sky),
      };
    }),
  );
  return { pattern: joint.pattern, corrections, referencePass, residual: joint.residual };
}

/** A pattern is solved for when the body has moved over the sensor often enough to show it, and kept when plausible. */
function solveJointly(start: Omit<LightProblem, 'solvePattern'>): SolvedLight {
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

function spreadOut(frames: readonly SeenFrame[], most: number): readonly SeenFrame[] {
  if (frames.length <= most) return frames;
  return Array.from({ length: most }, (_, i) => frames[Math.round((i * (frames.length - 1)) / (most - 1))]!);
}

function nearestEntry(
  entries: readonly { readonly frame: SeenFrame; readonly p: number }[],
  pass: number,
  frame: SeenFrame,
): number {
  let best = -1;
  entries.forEach((entry, e) => {
    if (entry.p !== pass) return;
    if (best < 0 || Math.abs(entry.frame.index - frame.index) < Math.abs(entries[best]!.frame.index - frame.index))
      best = e;
  });
  return best;
}

function meanOf(values: readonly Float32Array[], channels: number): Float32Array {
  const out = new Float32Array(values[0]!.length);
  for (const value of values) for (let i = 0; i < out.length; i++) out[i]! += value[i]! / channels;
  return out;
}

/** Mean of the darkest 2 % of the blocks. */
function darkest(plane: Float32Array): number {
  const sorted = Float32Array.from(plane).sort();
  return average(Array.from(sorted.subarray(0, Math.max(1, Math.floor(sorted.length * 0.02)))));
}

function average(values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v, 0) / values.length;
}
