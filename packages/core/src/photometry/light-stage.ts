import type { Affine } from '../compute/affine.js';
import type { BendGrid } from '../compute/bend-grid.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { SeenFrame, SeenPass } from '../registration/seeing-stage.js';
import type { FrameCorrection } from './correct-frame.js';
import {
  channelLightTask,
  channelsOf,
  jointLightTask,
  type LightEntry,
  lightEntries,
  observeLightTask,
} from './light-tasks.js';
import type { SmoothPattern } from './pattern.js';
import type { LightProblem, SolvedLight } from './solve-light.js';

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

/**
 * Stage: one solve for the light of all frames of all passes and the sensor's smooth pattern. The plate keeps the light
 * and the sky of one pass, the one with the least sky against its gain; of the others only the difference is removed.
 * Its steps are what the frames recorded, the solve of the mean, and that of each channel.
 */
export async function lightStage(context: JobContext, passes: readonly PlacedPass[]): Promise<PlateLight> {
  const channels = channelsOf(passes);
  const artefact = await runStage(context, {
    name: 'light',
    key: passes.map((p) => ({
      pose: p.pose,
      bin: p.tracked.graded.binFactor,
      frames: p.tracked.frames.map((f) => [...frameKey(f), f.pose]),
    })),
    total: 2 + channels,
    run: async ({ step }) => {
      const { pool, signal } = context;
      const observed = await pool.run(observeLightTask, passes, { signal });
      step(1);
      const joint = await pool.run(jointLightTask, observed.start, { signal });
      step(2);
      const { pattern, slopes } = joint;
      const problems = observed.channels.map(
        (own): LightProblem => ({ ...observed.start, ...own, pattern, slopes, solvePattern: false }),
      );
      const byChannel = await pool.map(channelLightTask, problems, { signal, onDone: (done) => step(2 + done) });
      return lightOf(passes, joint, byChannel);
    },
  });
  return artefact.result;
}

/** The light of every frame against that of the pass which the plate keeps. */
function lightOf(passes: readonly PlacedPass[], joint: SolvedLight, byChannel: readonly SolvedLight[]): PlateLight {
  const entries = lightEntries(passes);
  const of = (c: number, e: number): { gain: number; sky: number } => ({
    gain: byChannel[c]!.gain[e]!,
    sky: byChannel[c]!.sky[e]!,
  });
  const summary = passes.map((_, p) => {
    const own = entries.flatMap((entry, e) => (entry.pass === p ? [e] : []));
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

function nearestEntry(entries: readonly LightEntry[], pass: number, frame: SeenFrame): number {
  let best = -1;
  entries.forEach((entry, e) => {
    if (entry.pass !== pass) return;
    if (best < 0 || Math.abs(entry.frame.index - frame.index) < Math.abs(entries[best]!.frame.index - frame.index))
      best = e;
  });
  return best;
}

function average(values: readonly number[]): number {
  return values.reduce((sum, v) => sum + v, 0) / values.length;
}
