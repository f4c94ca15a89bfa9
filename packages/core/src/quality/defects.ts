import type { LinearImage } from '../compute/image.js';

/** A pixel of a frame counts as standing out when it leaves all its neighbours behind by this many σ of the noise. */
const STAND_OUT = 4;
/** And by this share of the whole range about it: what the optics have blurred never rises that steeply. */
const STEEPNESS = 0.6;
/** A frame in which more than this share of the pixels stand out is noisy rather than defective. */
const MOST_SHARE = 2e-3;
/** Noise is never taken for smaller than this, linear light: the step of an 8-bit code in the dark. */
const LEAST_NOISE = 5e-4;

/**
 * Pixels of a picture, its outermost ones left out, that no optics can have made: brighter, or darker, than all eight
 * neighbours in any channel by a clear margin. Indices are row-major, ascending.
 */
export function standingOut({ width, height, planes }: LinearImage, noise: number): number[] {
  const margin = STAND_OUT * Math.max(LEAST_NOISE, noise);
  const found = new Set<number>();
  for (const plane of planes) {
    for (let y = 1; y < height - 1; y++) {
      for (let i = y * width + 1, end = (y + 1) * width - 1; i < end; i++) {
        const v = plane[i]!;
        const left = v - plane[i - 1]!;
        // Nearly all pixels lie near to the one before.
        if (left <= margin && left >= -margin) continue;
        if (isSpike(plane, width, i, margin)) found.add(i);
      }
    }
  }
  return [...found].sort((a, b) => a - b);
}

/** The pixels that stand out in a frame; none when there are too many to be defects. */
export function unlessNoisy(found: readonly number[], pixels: number): Uint32Array {
  return found.length > MOST_SHARE * pixels ? new Uint32Array(0) : Uint32Array.from(found);
}

function isSpike(plane: Float32Array, width: number, i: number, margin: number): boolean {
  const v = plane[i]!;
  // Between any two neighbours it is neither; most pixels leave here.
  const isAbove = v > plane[i - 1]!;
  if (v > plane[i + 1]! !== isAbove || v > plane[i - width]! !== isAbove) return false;
  let most = plane[i - 1]!;
  let least = most;
  for (let k = i - width - 1; k <= i + width - 1; k += width) {
    for (let x = k; x <= k + 2; x++) {
      const n = plane[x]!;
      if (x === i) continue;
      if (n > most) most = n;
      if (n < least) least = n;
    }
  }
  if (v - most > margin) return v - most > STEEPNESS * (v - least);
  if (least - v > margin) return least - v > STEEPNESS * (most - v);
  return false;
}

/** Share of the frames in which a pixel must stand out, and their least number, to be a defect of the sensor. */
const DEFECT_SHARE = 0.6;
const DEFECT_FRAMES = 3;

/** Pixels that stand out in most frames of a pass: the ground has moved on, so they belong to the sensor. */
export function sensorDefects(perFrame: readonly Uint32Array[]): Uint32Array {
  const times = new Map<number, number>();
  for (const list of perFrame) for (const i of list) times.set(i, (times.get(i) ?? 0) + 1);
  const least = Math.max(DEFECT_FRAMES, DEFECT_SHARE * perFrame.length);
  return Uint32Array.from([...times].filter(([, n]) => n >= least).map(([i]) => i)).sort();
}

/** Replaces each defect by the median of its neighbours that are none, in place, in every plane. */
export function mendDefects(image: LinearImage, defects: Uint32Array): void {
  const { width, planes } = image;
  const bad = new Set(defects);
  for (const i of defects) {
    const around = [i - 1, i + 1, i - width - 1, i - width, i - width + 1, i + width - 1, i + width, i + width + 1];
    const good = around.filter((k) => !bad.has(k));
    if (good.length === 0) continue;
    for (const plane of planes) {
      const values = good.map((k) => plane[k]!).sort((a, b) => a - b);
      plane[i] = (values[(values.length - 1) >> 1]! + values[values.length >> 1]!) / 2;
    }
  }
}
