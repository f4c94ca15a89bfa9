import type { HeldFloats, KernelFloats, KernelScope } from '../compute/kernels.js';
import type { PairLevel } from './pair-normal.js';
import type { PairPicture } from './pair-types.js';

/** A {@link PairLevel} whose light may lie in the memory of the kernels. */
export interface HeldLevel {
  readonly width: number;
  readonly height: number;
  readonly data: KernelFloats;
  readonly variance?: Float32Array;
}

/** A picture made ready: level k is binned by 2^k. */
export interface PairPyramid {
  readonly levels: readonly HeldLevel[];
  /** The first and the last of the levels. */
  readonly finest: PairLevel;
  readonly coarsest: PairLevel;
  /** Usable pixels of level 0. */
  readonly usablePx: number;
}

/**
 * Masks what cannot be used (uncovered, not finite, on a plateau at the largest value) and bins by two until there
 * are `count` levels. `isWeighted` takes the variance from the picture's noise, otherwise it is 1. Held for as long as the scope is open.
 */
export function pairPyramid(scope: KernelScope, picture: PairPicture, count: number, isWeighted: boolean): PairPyramid {
  const { width, height, data, coverage } = picture;
  const isPlain = !coverage && !isWeighted && plateauOf(data) === Infinity;
  return (isPlain && heldPyramid(scope, { width, height, data }, count)) || maskedPyramid(picture, count, isWeighted);
}

/** Levels until the longest side is at most `coarsestSidePx`, as long as the shortest keeps {@link LEAST_COARSE_PX}. */
export function levelCount(a: PairPicture, b: PairPicture, coarsestSidePx: number): number {
  let longest = Math.max(a.width, a.height, b.width, b.height);
  let shortest = Math.min(a.width, a.height, b.width, b.height);
  let count = 1;
  while (longest > coarsestSidePx && shortest >= 2 * LEAST_COARSE_PX) {
    longest /= 2;
    shortest /= 2;
    count++;
  }
  return count;
}

const LEAST_COARSE_PX = 24;

/** A pyramid of a picture all of whose pixels count; undefined when one of them is not finite. */
function heldPyramid(scope: KernelScope, finest: PairLevel, count: number): PairPyramid | undefined {
  let { width, height } = finest;
  let data: HeldFloats = scope.put(finest.data);
  const levels: HeldLevel[] = [{ width, height, data }];
  while (levels.length < count) {
    const next = scope.hold((width >> 1) * (height >> 1));
    scope.exports.halve(data.address, width, height, next.address);
    width >>= 1;
    height >>= 1;
    data = next;
    levels.push({ width, height, data });
  }
  const coarsest = { width, height, data: scope.get(data) };
  // What is not finite stays so in every mean; a last odd row or column is in none of them.
  const isOdd = levels.some((level, k) => k < levels.length - 1 && (level.width | level.height) & 1);
  if (!allFinite(isOdd ? finest.data : coarsest.data)) return undefined;
  return { levels, finest, coarsest, usablePx: finest.data.length };
}

function maskedPyramid(picture: PairPicture, count: number, isWeighted: boolean): PairPyramid {
  const finest = usable(picture, isWeighted);
  const levels: Required<PairLevel>[] = [finest];
  let coarsest = finest;
  while (levels.length < count) {
    coarsest = halved(coarsest);
    levels.push(coarsest);
  }
  let usablePx = 0;
  for (const v of finest.variance!) if (v < Infinity) usablePx++;
  return { levels, finest, coarsest, usablePx };
}

function usable(picture: PairPicture, isWeighted: boolean): Required<PairLevel> {
  const { width, height, data, coverage } = picture;
  const noise = typeof picture.noise === 'object' ? picture.noise : undefined;
  const level = isWeighted && typeof picture.noise === 'number' ? picture.noise : 1;
  const plateau = plateauOf(data);
  const clean = allFinite(data);
  const light = clean ? data : new Float32Array(data.length);
  const variance = new Float32Array(data.length);
  for (let i = 0; i < data.length; i++) {
    const v = data[i]!;
    const sigma = noise ? noise[i]! : level;
    const ok = v - v === 0 && v < plateau && (!coverage || coverage[i]! > 0.5) && sigma > 0 && sigma < Infinity;
    variance[i] = ok ? sigma * sigma : Infinity;
    if (!clean) light[i] = v - v === 0 ? v : 0;
  }
  return { width, height, data: light, variance };
}

function allFinite(data: Float32Array): boolean {
  let sum = 0;
  for (let i = 0; i < data.length; i++) sum += data[i]! * 0;
  return sum === 0;
}

/** The largest value when at least a thousandth of the pixels share it, as clipped light does, but not all; otherwise Infinity. */
function plateauOf(data: Float32Array): number {
  const stride = Math.max(1, Math.floor(data.length / PLATEAU_SAMPLES)) | 1;
  let largest = -Infinity;
  let count = 0;
  let samples = 0;
  for (let i = 0; i < data.length; i += stride) {
    const v = data[i]!;
    samples++;
    if (v > largest && v < Infinity) {
      largest = v;
      count = 1;
    } else if (v === largest) count++;
  }
  return count >= Math.max(5, samples / 1000) && count < samples ? largest : Infinity;
}

const PLATEAU_SAMPLES = 4096;

/** Means of 2 × 2 pixels. One with any part that must not count does not count either; a last odd row is dropped. */
function halved(level: Required<PairLevel>): Required<PairLevel> {
  const { variance } = level;
  const width = level.width >> 1;
  const height = level.height >> 1;
  const data = new Float32Array(width * height);
  const out = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const p = 2 * y * level.width + 2 * x;
      const k = y * width + x;
      let light = 0;
      let all = 0;
      let n = 0;
      let sum = 0;
      for (const i of [p, p + 1, p + level.width, p + level.width + 1]) {
        sum += variance[i]!;
        all += level.data[i]!;
        if (variance[i]! === Infinity) continue;
        light += level.data[i]!;
        n++;
      }
      data[k] = n > 0 ? light / n : all / 4;
      out[k] = sum / 16;
    }
  }
  return { width, height, data, variance: out };
}

/** The level with everything within `radiusPx` (along rows and columns) of a pixel that must not count left out too. */
export function eroded(level: HeldLevel, radiusPx: number): HeldLevel {
  const { width, height, variance } = level;
  if (!variance) return level;
  const out = Float32Array.from(variance);
  for (let y = 0; y < height; y++) spread(variance, out, y * width, 1, width, radiusPx);
  const rows = Float32Array.from(out);
  for (let x = 0; x < width; x++) spread(rows, out, x, width, height, radiusPx);
  return { ...level, variance: out };
}

function spread(from: Float32Array, to: Float32Array, start: number, stride: number, n: number, radius: number): void {
  let last = -Infinity;
  for (let i = 0; i < n; i++) {
    if (from[start + i * stride]! === Infinity) last = i;
    if (i - last <= radius) to[start + i * stride] = Infinity;
  }
  last = Infinity;
  for (let i = n - 1; i >= 0; i--) {
    if (from[start + i * stride]! === Infinity) last = i;
    if (last - i <= radius) to[start + i * stride] = Infinity;
  }
}
