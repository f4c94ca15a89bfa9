import { applyX, applyY, compose } from '../compute/affine.js';
import type { TieResidual } from '../placement/residuals.js';
import { withBackground } from '../plate/background.js';
import type { HashedFile } from '../plate/hashed-file.js';
import type { MadePlate } from '../plate/make-plate.js';
import { plateOnDisk } from '../plate/plate-source.js';
import type { Sidecar } from '../plate/sidecar.js';
import { reportMaps } from './report-maps.js';
import type { LostFrame, ReportFeature, ReportInput } from './report-types.js';

/** Gathers what a report tells of a finished plate and its sidecar. */
export function reportInput(
  made: MadePlate,
  sidecar: Sidecar,
  sidecarFile: HashedFile,
  features?: readonly ReportFeature[],
): ReportInput {
  return {
    sidecar,
    sidecarFile,
    source: withBackground(plateOnDisk(made.blended.raster), sidecar.plate.background, sidecar.limb),
    frames: made.tracked.map((_, i) => framesOf(made, i)),
    residuals: made.placement.residuals.map((ties) => onPlate(made, ties)),
    maps: reportMaps(made),
    owners: made.blended.owners,
    ...(features && { features }),
  };
}

function framesOf({ tracked }: MadePlate, index: number): ReportInput['frames'][number] {
  const { graded, leftOut } = tracked[index]!;
  const at = new Map(graded.pass.frames.map(({ item }, k) => [item, k]));
  const lost: LostFrame[] = [...graded.leftOut, ...leftOut].flatMap(({ item, reason }) => {
    const frame = at.get(item);
    return frame === undefined ? [] : [{ index: frame, reason }];
  });
  return { of: graded.pass.frames.length, lost };
}

/** From the common space at proxy scale to plate px. */
function onPlate({ tracked, turn, blended }: MadePlate, ties: readonly TieResidual[]): TieResidual[] {
  const factor = tracked[0]!.graded.binFactor;
  const grow = {
    ...{ xx: factor, xy: 0, yx: 0, yy: factor },
    tx: (factor - 1) / 2 - blended.x0,
    ty: (factor - 1) / 2 - blended.y0,
  };
  const pose = compose(grow, turn);
  return ties.map(({ x, y, dx, dy }) => ({
    x: applyX(pose, x, y),
    y: applyY(pose, x, y),
    dx: pose.xx * dx + pose.xy * dy,
    dy: pose.yx * dx + pose.yy * dy,
  }));
}
