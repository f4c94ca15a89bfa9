import { type BlendedPlate, blendStage } from '../blend/blend-stage.js';
import { type FinishedStrip, stripStage } from '../blend/strip-stage.js';
import { hashCapture } from '../capture/hash-capture.js';
import type { Capture, Notice } from '../capture/pass.js';
import { type Affine, IDENTITY } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { type FinePattern, fineStage } from '../photometry/fine-stage.js';
import { lightStage, type PlacedPass, type PlateLight } from '../photometry/light-stage.js';
import { type Intrusion, transientStage } from '../photometry/transient-stage.js';
import { guideIn } from '../placement/guide-in.js';
import { type Guide, type PlacedPasses, placeStage } from '../placement/place-stage.js';
import { proxyFactor } from '../quality/grade-stage.js';
import { gradePasses } from '../registration/grade-passes.js';
import { type SeenPass, seeingStage } from '../registration/seeing-stage.js';
import { trackStage } from '../registration/track-stage.js';

/** What the frames tell before any strip is made of them. */
export interface MeasuredCapture {
  /** Copies of frames, and passes of which no frame can be used. */
  readonly leftOut: readonly LeftOut[];
  /** What only the pixels could tell. */
  readonly notices: readonly Notice[];
  readonly tracked: readonly SeenPass[];
  readonly guide: Guide | null;
  /** SHA-256 of every file, by item. */
  readonly hashes: ReadonlyMap<string, string>;
  readonly placement: PlacedPasses;
  readonly placed: readonly PlacedPass[];
  readonly light: PlateLight;
  readonly fine: FinePattern;
}

/** The placed passes as strips on the plate's grid. */
export interface MadeStrips {
  /** From the common space, in which passes are placed, to that of the plate before its corner is taken off; at proxy scale. */
  readonly turn: Affine;
  /** By placed pass, then by frame: what only that frame shows. */
  readonly intrusions: readonly (readonly Intrusion[])[];
  readonly strips: readonly FinishedStrip[];
}

/** Everything that was found out on the way to the plate. */
export interface MadePlate extends MeasuredCapture, MadeStrips {
  readonly blended: BlendedPlate;
}

/** Runs all stages to the joined strips, as the first placed pass stands. */
export async function makePlate(context: JobContext, capture: Capture): Promise<MadePlate> {
  return layPlate(context, await measureCapture(context, capture), IDENTITY);
}

/** Stacks every pass on the plate's grid, turned as {@link MadeStrips} says, and joins the strips. */
export async function layPlate(context: JobContext, measured: MeasuredCapture, turn: Affine): Promise<MadePlate> {
  const made = await makeStrips(context, measured, turn);
  const blended = await blendStage(
    context,
    made.strips.map((s) => s.strip),
    made.strips.map((s) => s.key),
  );
  return { ...measured, ...made, blended };
}

/** Runs the stages up to the sensor's fine pattern: where every frame lies, and what its light is worth. */
export async function measureCapture(context: JobContext, capture: Capture): Promise<MeasuredCapture> {
  const hashes = await hashCapture(context, capture);
  const { graded, leftOut, notices } = await gradePasses(context, capture, hashes, proxyFactor(capture.passes));
  const tracked: SeenPass[] = [];
  for (const pass of await trackStage(context, graded)) tracked.push(await seeingStage(context, pass));
  const guide = guideIn(capture, hashes);
  const placement = await placeStage(context, tracked, guide);
  const placed = tracked.flatMap((pass, i) => {
    const pose = placement.poses[i];
    const join = placement.joins[i];
    return pose && join ? [{ tracked: pass, pose, join }] : [];
  });
  const light = await lightStage(context, placed);
  const fine = await fineStage(context, placed, light);
  return { leftOut, notices, tracked, guide, hashes, placement, placed, light, fine };
}

/** Stacks every placed pass on the plate's grid, without what only single frames show. */
export async function makeStrips(context: JobContext, measured: MeasuredCapture, turn: Affine): Promise<MadeStrips> {
  const { placed, light, fine } = measured;
  const channels = Math.max(...placed.map((p) => p.tracked.graded.pass.channels));
  const strips: FinishedStrip[] = [];
  const intrusions: (readonly Intrusion[])[] = [];
  for (let p = 0; p < placed.length; p++) {
    const own = await transientStage(context, placed[p]!, light, fine, p);
    intrusions.push(own);
    strips.push(await stripStage(context, placed[p]!, turn, light, fine, own, p, channels));
  }
  return { turn, intrusions, strips };
}
