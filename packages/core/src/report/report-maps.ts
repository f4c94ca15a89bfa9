import { CELL_PX } from '../blend/coarse-strip.js';
import { applyX, applyY, invert } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { bilinearAt } from '../compute/sample.js';
import type { MadePlate } from '../plate/make-plate.js';
import { visitShares } from '../plate/maps.js';
import { fineNoise } from '../quality/grade-frame.js';
import { localSharpness } from '../quality/local-sharpness.js';
import type { ReportMaps } from './report-types.js';

/** Longest side of the maps. */
const MAP_SIDE = 400;

/** Number of frames and their sharpness, place by place, of the strip that each place was taken from. */
export function reportMaps(made: MadePlate): ReportMaps {
  const { blended, placed } = made;
  const stepPx = CELL_PX * Math.ceil(Math.max(blended.widthPx, blended.heightPx) / MAP_SIDE / CELL_PX);
  const size = [Math.ceil(blended.widthPx / stepPx), Math.ceil(blended.heightPx / stepPx)] as const;
  const coverage = createPlane(...size);
  const sharpness = createPlane(...size);
  const weights = createPlane(...size);
  const passes = placed.map(({ tracked: { frames, graded }, pose }) => ({
    toTrack: invert(pose),
    bin: graded.binFactor,
    local: localSharpness(frames.map((f) => ({ ...f, fineNoise: fineNoise(f.grade.noise) }))),
  }));
  visitShares(made, stepPx, ({ place, x, y, pass, frame, weight }) => {
    const { toTrack, bin, local } = passes[pass]!;
    const [px, py] = [(x - (bin - 1) / 2) / bin, (y - (bin - 1) / 2) / bin];
    const u = (applyX(toTrack, px, py) - local.x0) / local.stepPx;
    const v = (applyY(toTrack, px, py) - local.y0) / local.stepPx;
    const inside = (at: number, count: number): number => Math.min(count - 1, Math.max(0, at));
    const { columns, rows } = local;
    coverage.data[place]!++;
    const cell = Math.round(inside(v, rows)) * columns + Math.round(inside(u, columns));
    if (local.lit[frame]![cell] === 0) return;
    const sharp = bilinearAt(local.frames[frame]!, columns, rows, inside(u, columns), inside(v, rows));
    sharpness.data[place]! += weight * sharp;
    weights.data[place]! += weight;
  });
  for (let i = 0; i < weights.data.length; i++) if (weights.data[i]! > 0) sharpness.data[i]! /= weights.data[i]!;
  return { stepPx, coverage, sharpness };
}
