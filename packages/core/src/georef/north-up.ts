import type { Capture, Notice } from '../capture/pass.js';
import { poseAbout } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import { layPlate, type MadePlate } from '../plate/make-plate.js';
import type { Whereabouts, WhereUnknown } from '../plate/whereabouts.js';
import { type AskedMap, whereStage } from './where-stage.js';

/** A plate, and where it lies. */
export interface LocatedPlate {
  readonly made: MadePlate;
  readonly where: Whereabouts | WhereUnknown;
}

/** A plate whose axis stands this near to upright is left alone, degrees: a twentieth px over a plate of 3000 px. */
const UPRIGHT_DEG = 0.001;

/**
 * The plate with the body's north up: its frames are stacked anew on a grid that is turned, so that nothing is resampled
 * twice. As it was, with a notice, where it is not known where it lies.
 */
export async function northUp(
  context: JobContext,
  capture: Capture,
  { made, where }: LocatedPlate,
  asked: AskedMap | null,
): Promise<LocatedPlate> {
  if (!where.known) return { made: { ...made, notices: [...made.notices, northUnknown(where)] }, where };
  if (Math.abs(where.axisDeg) < UPRIGHT_DEG) return { made, where };
  const turn = poseAbout({ x: 0, y: 0 }, { shiftX: 0, shiftY: 0, rotationDeg: -where.axisDeg });
  const turned = await layPlate(context, made, turn);
  return { made: turned, where: await whereStage(context, capture, turned, asked) };
}

function northUnknown({ detail }: WhereUnknown): Notice {
  return {
    item: 'plate',
    reason: 'north-unknown',
    detail: `it stands as its first pass does, not north up: ${detail}`,
  };
}
