import { createPlane, type Plane } from '../compute/image.js';

/** Half the size: 5-tap binomial low pass, every second pixel kept (Burt & Adelson 1983). Borders repeat. */
export function reduce(plane: Plane): Plane {
  const { width, height, data } = plane;
  const w = (width + 1) >> 1;
  const h = (height + 1) >> 1;
  const rows = new Float32Array(w * height);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    const out = y * w;
    for (let x = 0; x < w; x++) {
      const inside = x > 0 && 2 * x + 2 < width;
      const i = row + 2 * x;
      const left2 = inside ? i - 2 : row + clamp(2 * x - 2, width);
      const left = inside ? i - 1 : row + clamp(2 * x - 1, width);
      const right = inside ? i + 1 : row + clamp(2 * x + 1, width);
      const right2 = inside ? i + 2 : row + clamp(2 * x + 2, width);
      rows[out + x] = (data[left2]! + data[right2]!) / 16 + (data[left]! + data[right]!) / 4 + (data[i]! * 6) / 16;
    }
  }
  const out = createPlane(w, h);
  for (let y = 0; y < h; y++) {
    const [up2, up, here, down, down2] = [-2, -1, 0, 1, 2].map((k) => clamp(2 * y + k, height) * w) as [
      number,
      number,
      number,
      number,
      number,
    ];
    for (let x = 0; x < w; x++) {
      out.data[y * w + x] =
        (rows[up2 + x]! + rows[down2 + x]!) / 16 + (rows[up + x]! + rows[down + x]!) / 4 + (rows[here + x]! * 6) / 16;
    }
  }
  return out;
}

/** Twice the size, to exactly width × height: pixels spread out and filled in by the same low pass. */
export function expand(plane: Plane, width: number, height: number): Plane {
  const { width: w, height: h, data } = plane;
  const rows = new Float32Array(width * h);
  for (let y = 0; y < h; y++) {
    const row = y * w;
    for (let x = 0; x < width; x++) {
      const k = x >> 1;
      const here = data[row + (k < w ? k : w - 1)]!;
      const next = data[row + (k + 1 < w ? k + 1 : w - 1)]!;
      const last = data[row + (k > 0 ? k - 1 : 0)]!;
      rows[y * width + x] = x % 2 === 0 ? (last + next) / 8 + (here * 6) / 8 : (here + next) / 2;
    }
  }
  const out = createPlane(width, height);
  for (let y = 0; y < height; y++) {
    const k = y >> 1;
    const above = clamp(k - 1, h) * width;
    const here = clamp(k, h) * width;
    const below = clamp(k + 1, h) * width;
    for (let x = 0; x < width; x++) {
      out.data[y * width + x] =
        y % 2 === 0
          ? (rows[above + x]! + rows[below + x]!) / 8 + (rows[here + x]! * 6) / 8
          : (rows[here + x]! + rows[below + x]!) / 2;
    }
  }
  return out;
}

/**
 * Continues a plane smoothly where its coverage is 0, so that a pyramid over it knows no edge of the data: averages of
 * what is covered are taken to ever coarser grids and filled back in from there. Covered pixels stay as they are.
 */
export function fillUncovered(plane: Plane, coverage: Plane): Plane {
  const { width, height } = plane;
  if (width <= 2 && height <= 2) return fillWithMean(plane, coverage);
  const weighted = createPlane(width, height);
  for (let i = 0; i < weighted.data.length; i++) weighted.data[i] = plane.data[i]! * coverage.data[i]!;
  const sum = reduce(weighted);
  const cover = reduce(coverage);
  const known = createPlane(cover.width, cover.height);
  for (let i = 0; i < sum.data.length; i++) {
    const c = cover.data[i]!;
    if (c > 1e-6) {
      sum.data[i]! /= c;
      known.data[i] = 1;
    } else {
      sum.data[i] = 0;
    }
  }
  const coarse = expand(fillUncovered(sum, known), width, height);
  const out = createPlane(width, height);
  for (let i = 0; i < out.data.length; i++) {
    const c = coverage.data[i]!;
    out.data[i] = c * plane.data[i]! + (1 - c) * coarse.data[i]!;
  }
  return out;
}

function fillWithMean(plane: Plane, coverage: Plane): Plane {
  let sum = 0;
  let weight = 0;
  for (let i = 0; i < plane.data.length; i++) {
    sum += plane.data[i]! * coverage.data[i]!;
    weight += coverage.data[i]!;
  }
  const mean = weight > 0 ? sum / weight : 0;
  const out = createPlane(plane.width, plane.height);
  for (let i = 0; i < out.data.length; i++) out.data[i] = coverage.data[i]! > 0 ? plane.data[i]! : mean;
  return out;
}

function clamp(i: number, n: number): number {
  return i < 0 ? 0 : i >= n ? n - 1 : i;
}
