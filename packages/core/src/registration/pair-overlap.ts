import { type Affine, applyX, applyY, invert } from '../compute/affine.js';

interface Size {
  readonly width: number;
  readonly height: number;
}

/** The overlap of two pictures under a map moving px -> fixed px. */
export interface PairOverlap {
  /** Bounding box in the fixed picture, px. */
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
  /** Area, fixed px². */
  readonly areaPx: number;
}

/** The overlap's corners are those of the moving picture's outline clipped by the fixed picture's. */
export function overlapOf(fixed: Size, moving: Size, map: Affine): PairOverlap | undefined {
  let corners = [
    [-0.5, -0.5],
    [moving.width - 0.5, -0.5],
    [moving.width - 0.5, moving.height - 0.5],
    [-0.5, moving.height - 0.5],
  ].map(([x, y]) => ({ x: applyX(map, x!, y!), y: applyY(map, x!, y!) }));
  corners = clip(corners, (p) => p.x + 0.5);
  corners = clip(corners, (p) => fixed.width - 0.5 - p.x);
  corners = clip(corners, (p) => p.y + 0.5);
  corners = clip(corners, (p) => fixed.height - 0.5 - p.y);
  if (corners.length < 3) return undefined;
  let area = 0;
  corners.forEach((p, i) => {
    const q = corners[(i + 1) % corners.length]!;
    area += p.x * q.y - q.x * p.y;
  });
  const xs = corners.map((p) => p.x);
  const ys = corners.map((p) => p.y);
  return {
    x0: Math.max(0, Math.ceil(Math.min(...xs))),
    y0: Math.max(0, Math.ceil(Math.min(...ys))),
    x1: Math.min(fixed.width - 1, Math.floor(Math.max(...xs))),
    y1: Math.min(fixed.height - 1, Math.floor(Math.max(...ys))),
    areaPx: Math.abs(area) / 2,
  };
}

/** The middle of the overlap, in the moving picture, px. */
export function overlapCentre(fixed: Size, moving: Size, map: Affine): { mx: number; my: number } | undefined {
  const box = overlapOf(fixed, moving, map);
  if (!box) return undefined;
  const back = invert(map);
  const x = (box.x0 + box.x1) / 2;
  const y = (box.y0 + box.y1) / 2;
  return { mx: applyX(back, x, y), my: applyY(back, x, y) };
}

function clip(
  corners: { x: number; y: number }[],
  inside: (p: { x: number; y: number }) => number,
): { x: number; y: number }[] {
  const out: { x: number; y: number }[] = [];
  corners.forEach((p, i) => {
    const q = corners[(i + 1) % corners.length]!;
    const dp = inside(p);
    const dq = inside(q);
    if (dp >= 0) out.push(p);
    if (dp >= 0 !== dq >= 0) {
      const t = dp / (dp - dq);
      out.push({ x: p.x + t * (q.x - p.x), y: p.y + t * (q.y - p.y) });
    }
  });
  return out;
}
