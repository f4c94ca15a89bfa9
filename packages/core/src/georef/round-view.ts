import { type Affine, compose, translation } from '../compute/affine.js';
import { luminance, type Plane } from '../compute/image.js';
import { warpPlane } from '../compute/warp.js';
import type { PlateSource } from '../plate/plate-source.js';
import { shrink } from '../plate/shrink.js';

/** A smaller grey copy of a plate, on which the disc is round. */
export interface RoundView {
  /** Linear light. */
  readonly light: Plane;
  /** 1 where every pixel under it is covered, else 0. */
  readonly coverage: Plane;
  /** Plate px (space 4) -> px of this copy. */
  readonly fromPlate: Affine;
}

/** Shrinks a plate until its longer side is at most `longestPx`; the whole of it is read once. */
export function viewOf(source: PlateSource, longestPx: number): RoundView {
  const { image, coverage } = shrink(source, longestPx);
  const [sx, sy] = [image.width / source.width, image.height / source.height];
  return {
    light: luminance(image),
    coverage: whole(coverage),
    fromPlate: { xx: sx, xy: 0, yx: 0, yy: sy, tx: (sx - 1) / 2, ty: (sy - 1) / 2 },
  };
}

/**
 * The same view after a small linear map of the plate's plane that makes the disc round, about the view's middle.
 * `round` maps directions on the plate; its translation does not count.
 */
export function rounded(view: RoundView, round: Affine): RoundView {
  const { width, height } = view.light;
  const [x, y] = [(width - 1) / 2, (height - 1) / 2];
  const linear = { ...round, tx: 0, ty: 0 };
  const about = compose(translation(x, y), compose(linear, translation(-x, -y)));
  const light = warpPlane(view.light, about, width, height);
  const coverage = warpPlane(view.coverage, about, width, height);
  for (let i = 0; i < coverage.plane.data.length; i++) {
    coverage.plane.data[i] = coverage.coverage.data[i]! > 0 && coverage.plane.data[i]! > WHOLE ? 1 : 0;
  }
  return { light: light.plane, coverage: coverage.plane, fromPlate: compose(about, view.fromPlate) };
}

/** A part of a view's scale: the view shrunk by a whole number. */
export function smaller(view: RoundView, factor: number): RoundView {
  if (factor <= 1) return view;
  const source: PlateSource = {
    width: view.light.width,
    height: view.light.height,
    channels: 1,
    read: ({ x0, y0, width, height }) => ({
      image: { width, height, planes: [part(view.light, x0, y0, width, height)] },
      coverage: { width, height, data: part(view.coverage, x0, y0, width, height) },
    }),
  };
  const small = viewOf(source, Math.ceil(Math.max(source.width, source.height) / factor));
  return { ...small, fromPlate: compose(small.fromPlate, view.fromPlate) };
}

/** Scale of a view against the plate. */
export function scaleOf({ fromPlate }: RoundView): number {
  return Math.sqrt(Math.abs(fromPlate.xx * fromPlate.yy - fromPlate.xy * fromPlate.yx));
}

const WHOLE = 0.999;

function whole(coverage: Plane): Plane {
  return { ...coverage, data: coverage.data.map((c) => (c > WHOLE ? 1 : 0)) };
}

function part({ data, width: stride }: Plane, x0: number, y0: number, width: number, height: number): Float32Array {
  if (width === stride) return data.subarray(y0 * stride, (y0 + height) * stride);
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    const from = (y0 + y) * stride + x0;
    out.set(data.subarray(from, from + width), y * width);
  }
  return out;
}
