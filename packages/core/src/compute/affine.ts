/**
 * An affine map of the plane, (x, y) -> (xx·x + xy·y + tx, yx·x + yy·y + ty), x to the right and y down.
 * A pose is such a map from frame px (space 2) to strip or plate px (space 3 or 4).
 */
export interface Affine {
  readonly xx: number;
  readonly xy: number;
  readonly yx: number;
  readonly yy: number;
  readonly tx: number;
  readonly ty: number;
}

export const IDENTITY: Affine = { xx: 1, xy: 0, yx: 0, yy: 1, tx: 0, ty: 0 };

export function translation(tx: number, ty: number): Affine {
  return { ...IDENTITY, tx, ty };
}

/** The map that applies `first`, then `second`. */
export function compose(second: Affine, first: Affine): Affine {
  return {
    xx: second.xx * first.xx + second.xy * first.yx,
    xy: second.xx * first.xy + second.xy * first.yy,
    yx: second.yx * first.xx + second.yy * first.yx,
    yy: second.yx * first.xy + second.yy * first.yy,
    tx: second.xx * first.tx + second.xy * first.ty + second.tx,
    ty: second.yx * first.tx + second.yy * first.ty + second.ty,
  };
}

/** The inverse map. Throws RangeError when the map is degenerate. */
export function invert(a: Affine): Affine {
  const det = a.xx * a.yy - a.xy * a.yx;
  if (!(Math.abs(det) > 1e-12)) throw new RangeError('cannot invert a degenerate affine map');
  const xx = a.yy / det;
  const xy = -a.xy / det;
  const yx = -a.yx / det;
  const yy = a.xx / det;
  return { xx, xy, yx, yy, tx: -(xx * a.tx + xy * a.ty), ty: -(yx * a.tx + yy * a.ty) };
}

export function applyX(a: Affine, x: number, y: number): number {
  return a.xx * x + a.xy * y + a.tx;
}

export function applyY(a: Affine, x: number, y: number): number {
  return a.yx * x + a.yy * y + a.ty;
}

/**
 * Turn by `rotationDeg` (x towards y: clockwise on the screen) and scale about a point, vertical stretch `squeeze`
 * after the turn, then a shift: p -> S(squeeze) · scale · R · (p − centre) + centre + shift.
 */
export function poseAbout(
  centre: { readonly x: number; readonly y: number },
  parts: {
    readonly shiftX: number;
    readonly shiftY: number;
    readonly rotationDeg?: number;
    readonly scale?: number;
    readonly squeeze?: number;
  },
): Affine {
  const angle = ((parts.rotationDeg ?? 0) * Math.PI) / 180;
  const scale = parts.scale ?? 1;
  const squeeze = parts.squeeze ?? 1;
  const xx = scale * Math.cos(angle);
  const xy = -scale * Math.sin(angle);
  const yx = squeeze * scale * Math.sin(angle);
  const yy = squeeze * scale * Math.cos(angle);
  return {
    xx,
    xy,
    yx,
    yy,
    tx: centre.x + parts.shiftX - xx * centre.x - xy * centre.y,
    ty: centre.y + parts.shiftY - yx * centre.x - yy * centre.y,
  };
}

/** The same map between grids `factor` times coarser, whose pixel (0, 0) is the mean of factor × factor pixels. */
export function onCoarserGrid(a: Affine, factor: number): Affine {
  const offset = (factor - 1) / 2;
  return compose(invert(coarseToFine(factor, offset)), compose(a, coarseToFine(factor, offset)));
}

/** Undoes {@link onCoarserGrid}. */
export function onFinerGrid(a: Affine, factor: number): Affine {
  const up = coarseToFine(factor, (factor - 1) / 2);
  return compose(up, compose(a, invert(up)));
}

function coarseToFine(factor: number, offset: number): Affine {
  return { xx: factor, xy: 0, yx: 0, yy: factor, tx: offset, ty: offset };
}

/** Bounding box of a width × height picture's pixel centres after the map. */
export function mappedBounds(
  a: Affine,
  width: number,
  height: number,
): { x0: number; y0: number; x1: number; y1: number } {
  const xs: number[] = [];
  const ys: number[] = [];
  for (const [x, y] of [
    [0, 0],
    [width - 1, 0],
    [0, height - 1],
    [width - 1, height - 1],
  ] as const) {
    xs.push(applyX(a, x, y));
    ys.push(applyY(a, x, y));
  }
  return { x0: Math.min(...xs), y0: Math.min(...ys), x1: Math.max(...xs), y1: Math.max(...ys) };
}

/** Rotation of a pose, degrees, x towards y, read off its first column. */
export function rotationDegOf(a: Affine): number {
  return (Math.atan2(a.yx, a.xx) * 180) / Math.PI;
}
