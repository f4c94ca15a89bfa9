import { calibrationFor, calibrationStage } from '../capture/calibration-stage.js';
import { clipStage } from '../capture/clip-stage.js';
import { dropDoubles } from '../capture/drop-doubles.js';
import type { Capture, Notice } from '../capture/pass.js';
import { noUsableFrame } from '../capture/read-pass.js';
import type { JobContext } from '../job/context.js';
import type { InputError, LeftOut } from '../job/errors.js';
import { type GradedPass, gradePass } from '../quality/grade-stage.js';
import { viewStage } from './view-stage.js';

/** The passes of a capture after a first look at each of their frames. */
export interface GradedPasses {
  readonly graded: readonly GradedPass[];
  /** Copies of frames, and passes of which none can be used, with their frames. */
  readonly leftOut: readonly LeftOut[];
  readonly notices: readonly Notice[];
}

/**
 * Looks at every frame of a capture and parts folders of everything by what they show. A pass of which no frame can be used is
 * a loss; throws {@link InputError} `PASS_UNUSABLE` when no other is left.
 *
 * @param hashes what tells files apart, by item: equal ones are copies
 */
export async function gradePasses(
  context: JobContext,
  capture: Capture,
  hashes: ReadonlyMap<string, string>,
  binFactor: number,
): Promise<GradedPasses> {
  const masters = await calibrationStage(context, capture.calibration, hashes);
  const graded: GradedPass[] = [];
  const leftOut: LeftOut[] = [];
  const notices: Notice[] = [];
  const failures: InputError[] = [];
  for (const found of capture.passes) {
    const { pass, leftOut: doubles } = dropDoubles(found, hashes);
    leftOut.push(...doubles);
    const reading = { encoding: pass.encoding, calibration: calibrationFor(masters, pass) };
    const pictures = pass.kind === 'clip' ? await clipStage(context, pass, hashes) : null;
    const seen = await gradePass(context, pass, hashes, reading, binFactor, pictures);
    if (seen.frames.length === 0) {
      const failure = noUsableFrame(pass.name, seen.leftOut);
      failures.push(failure);
      leftOut.push(...seen.leftOut, { item: pass.name, reason: 'no-usable-frame', detail: failure.message });
      continue;
    }
    const parted = await viewStage(context, seen);
    graded.push(...parted.passes);
    notices.push(...parted.notices);
  }
  if (graded.length === 0) throw failures[0];
  return { graded, leftOut, notices };
}
