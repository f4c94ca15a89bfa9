import { type Affine, invert } from '../compute/affine.js';
import { correlationFromSums } from '../compute/correlation.js';
import type { PairDetail } from './pair-detail.js';

/** How alike two details are over their true overlap at a pose. */
export interface PairLikeness {
  /** Normalised cross-correlation, −1..1. */
  readonly correlation: number;
  /** Pixels that both cover. */
  readonly samples: number;
}

/** Compares the details at a shift by whole pixels: moving (x, y) on fixed (x + dx, y + dy). */
export function likenessAtShift(fixed: PairDetail, moving: PairDetail, dx: number, dy: number): PairLikeness {
  const x0 = Math.max(0, dx);
  const x1 = Math.min(fixed.width, moving.width + dx);
  let n = 0;
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  for (let y = Math.max(0, dy); y < Math.min(fixed.height, moving.height + dy); y++) {
    let i = y * fixed.width + x0;
    let k = (y - dy) * moving.width + x0 - dx;
    for (let x = x0; x < x1; x++, i++, k++) {
      const both = fixed.mask[i]! * moving.mask[k]!;
      const a = both * fixed.detail[i]!;
      const b = both * moving.detail[k]!;
      n += both;
      sa += a;
      sb += b;
      saa += a * a;
      sbb += b * b;
      sab += a * b;
    }
  }
  return likeness(n, sa, sb, saa, sbb, sab);
}

/** Compares the fixed detail with the moving one brought onto it by a map moving px -> fixed px, bilinear. */
export function likenessAt(fixed: PairDetail, moving: PairDetail, map: Affine): PairLikeness {
  const back = invert(map);
  const { width, height } = fixed;
  const w = moving.width;
  let n = 0;
  let sa = 0;
  let sb = 0;
  let saa = 0;
  let sbb = 0;
  let sab = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (fixed.mask[i] === 0) continue;
      const mx = back.xx * x + back.xy * y + back.tx;
      const my = back.yx * x + back.yy * y + back.ty;
      if (!(mx >= 0 && my >= 0 && mx < w - 1 && my < moving.height - 1)) continue;
      const ix = Math.floor(mx);
      const iy = Math.floor(my);
      const k = iy * w + ix;
      if (moving.mask[k]! + moving.mask[k + 1]! + moving.mask[k + w]! + moving.mask[k + w + 1]! < 4) continue;
      const fx = mx - ix;
      const fy = my - iy;
      const top = moving.detail[k]! + fx * (moving.detail[k + 1]! - moving.detail[k]!);
      const bottom = moving.detail[k + w]! + fx * (moving.detail[k + w + 1]! - moving.detail[k + w]!);
      const a = fixed.detail[i]!;
      const b = top + fy * (bottom - top);
      n++;
      sa += a;
      sb += b;
      saa += a * a;
      sbb += b * b;
      sab += a * b;
    }
  }
  return likeness(n, sa, sb, saa, sbb, sab);
}

function likeness(n: number, sa: number, sb: number, saa: number, sbb: number, sab: number): PairLikeness {
  const correlation = correlationFromSums(n, sa, sb, saa, sbb, sab);
  return { correlation: Math.max(-1, Math.min(1, correlation)), samples: n };
}
