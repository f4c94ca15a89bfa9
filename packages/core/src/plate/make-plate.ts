import { type BlendedPlate, blendStage } from '../blend/blend-stage.js';
import { type FinishedStrip, stripStage } from '../blend/strip-stage.js';
import { calibrationFor, calibrationStage } from '../capture/calibration-stage.js';
import { clipStage } from '../capture/clip-stage.js';
import { hashCapture } from '../capture/hash-capture.js';
import type { Capture } from '../capture/pass.js';
import type { Encoding } from '../capture/reading.js';
import type { JobContext } from '../job/context.js';
import { type FinePattern, fineStage } from '../photometry/fine-stage.js';
import { lightStage, type PlacedPass, type PlateLight } from '../photometry/light-stage.js';
import { type Intrusion, transientStage } from '../photometry/transient-stage.js';
import { type Guide, type PlacedPasses, placeStage } from '../placement/place-stage.js';
import { type GradedPass, gradePass, proxyFactor } from '../quality/grade-stage.js';
import { type SeenPass, seeingStage } from '../registration/seeing-stage.js';
import { trackStage } from '../registration/track-stage.js';

/** Everything that was found out on the way to the plate. */
export interface MadePlate {
  readonly tracked: readonly SeenPass[];
  readonly guide: Guide | null;
  /** SHA-256 of every file, by item. */
  readonly hashes: ReadonlyMap<string, string>;
  readonly placement: PlacedPasses;
  readonly placed: readonly PlacedPass[];
  readonly light: PlateLight;
  readonly fine: FinePattern;
  /** By placed pass, then by frame: what only that frame shows. */
  readonly intrusions: readonly (readonly Intrusion[])[];
  readonly strips: readonly FinishedStrip[];
  readonly blended: BlendedPlate;
}

/** Runs all stages from the first look at the frames to the joined strips. */
export async function makePlate(context: JobContext, capture: Capture, encoding: Encoding): Promise<MadePlate> {
  const hashes = await hashCapture(context, capture);
  const binFactor = proxyFactor(capture.passes);
  const graded: GradedPass[] = [];
  const masters = await calibrationStage(context, capture.calibration, hashes, encoding);
  for (const pass of capture.passes) {
    const reading = { encoding, calibration: calibrationFor(masters, pass) };
    const pictures = pass.kind === 'clip' ? await clipStage(context, pass, hashes) : null;
    graded.push(await gradePass(context, pass, hashes, reading, binFactor, pictures));
  }
  const tracked: SeenPass[] = [];
  for (const pass of await trackStage(context, graded)) tracked.push(await seeingStage(context, pass));
  const { item, path } = capture.guide ?? {};
  const guide = item && path ? { item, path, sha256: hashes.get(item)!, curve: encoding.curve } : null;
  const placement = await placeStage(context, tracked, guide);
  const placed = tracked.flatMap((pass, i) => {
    const pose = placement.poses[i];
    const join = placement.joins[i];
    return pose && join ? [{ tracked: pass, pose, join }] : [];
  });
  const light = await lightStage(context, placed);
  const fine = await fineStage(context, placed, light);
  const channels = Math.max(...placed.map((p) => p.tracked.graded.pass.channels));
  const strips: FinishedStrip[] = [];
  const intrusions: (readonly Intrusion[])[] = [];
  for (let p = 0; p < placed.length; p++) {
    const own = await transientStage(context, placed[p]!, light, fine, p);
    intrusions.push(own);
    strips.push(await stripStage(context, placed[p]!, light, fine, own, p, channels));
  }
  const blended = await blendStage(
    context,
    strips.map((s) => s.strip),
    strips.map((s) => s.key),
  );
  return { tracked, guide, hashes, placement, placed, light, fine, intrusions, strips, blended };
}
