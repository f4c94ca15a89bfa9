import { type Affine, applyX, applyY } from '../src/compute/affine.js';
import { createPlane, type Plane } from '../src/compute/image.js';
import { createRandom } from '../src/compute/random.js';

/** Ground whose light is known at every point, not only on a pixel grid. */
export interface SceneField {
  /** Linear light at a point of the scene, scene px; always above 0. */
  at(x: number, y: number): number;
}

/** Settings of {@link createSceneField}. */
export interface SceneOptions {
  readonly seed: string;
  /** The ground reaches from (0, 0) to here, scene px; beyond it is even. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** Smallest and largest σ of the blobs. Default: 1.6 to 5, so that a pixel grid holds nearly all of it. */
  readonly sigmaPx?: readonly [number, number];
  /** Ground per blob, px². Default: 45. */
  readonly areaPx2?: number;
  /** Spread of the blobs' heights in the logarithm of the light. Default: 0.35. */
  readonly contrast?: number;
  /** Light where no blob reaches. Default: 0.25. */
  readonly level?: number;
}

/** Where a blob of σ = 1 is cut off: exp(−18) of its height is left there, below what a Float32 of the light can hold. */
const REACH_SIGMAS = 6;
const BUCKET_PX = 16;

/**
 * Light that is the exponential of a sum of random Gaussian blobs: smooth, never negative, and evaluated anywhere to
 * rounding, so that pictures of it under any pose are true and no interpolation limits a test.
 */
export function createSceneField(options: SceneOptions): SceneField {
  const { seed, widthPx, heightPx, sigmaPx = [1.6, 5], areaPx2 = 45, contrast = 0.35, level = 0.25 } = options;
  const random = createRandom(`scene/${seed}`);
  const reach = REACH_SIGMAS * sigmaPx[1];
  const columns = Math.ceil((widthPx + 2 * reach) / BUCKET_PX) + 1;
  const rows = Math.ceil((heightPx + 2 * reach) / BUCKET_PX) + 1;
  const buckets: number[][] = Array.from({ length: columns * rows }, () => []);
  for (let n = Math.round((widthPx * heightPx) / areaPx2); n > 0; n--) {
    const x = widthPx * random.uniform();
    const y = heightPx * random.uniform();
    const sigma = sigmaPx[0] + (sigmaPx[1] - sigmaPx[0]) * random.uniform();
    const height = contrast * random.normal();
    const own = REACH_SIGMAS * sigma;
    for (let r = bucketOf(y - own, reach); r <= bucketOf(y + own, reach); r++) {
      for (let c = bucketOf(x - own, reach); c <= bucketOf(x + own, reach); c++)
        buckets[r * columns + c]!.push(x, y, 1 / (2 * sigma * sigma), height);
    }
  }
  const at = (x: number, y: number): number => {
    const c = bucketOf(x, reach);
    const r = bucketOf(y, reach);
    if (c < 0 || r < 0 || c >= columns || r >= rows) return level;
    const blobs = buckets[r * columns + c]!;
    let sum = 0;
    for (let k = 0; k < blobs.length; k += 4) {
      const t = ((x - blobs[k]!) ** 2 + (y - blobs[k + 1]!) ** 2) * blobs[k + 2]!;
      if (t < (REACH_SIGMAS * REACH_SIGMAS) / 2) sum += blobs[k + 3]! * Math.exp(-t);
    }
    return level * Math.exp(sum);
  };
  return { at };
}

/** How {@link renderFrame} records what it sees. */
export interface RecordOptions {
  readonly gain?: number;
  readonly offset?: number;
  /** Standard deviation of added white noise, and its seed. */
  readonly noise?: number;
  readonly seed?: string;
  /** Whether the plane lies in shared memory. */
  readonly shared?: boolean;
}

/** What a frame of a size records of the scene; `pose` maps frame px to scene px. */
export function renderFrame(
  scene: SceneField,
  pose: Affine,
  widthPx: number,
  heightPx: number,
  options: RecordOptions = {},
): Plane {
  const { gain = 1, offset = 0, noise = 0, seed = 'frame', shared = false } = options;
  const random = createRandom(seed);
  const plane = createPlane(widthPx, heightPx, shared);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const light = gain * scene.at(applyX(pose, x, y), applyY(pose, x, y)) + offset;
      plane.data[y * widthPx + x] = noise > 0 ? light + noise * random.normal() : light;
    }
  }
  return plane;
}

/** A plane filled from a function of its pixel's place. */
export function planeOf(widthPx: number, heightPx: number, of: (x: number, y: number) => number): Plane {
  const plane = createPlane(widthPx, heightPx);
  for (let y = 0; y < heightPx; y++) for (let x = 0; x < widthPx; x++) plane.data[y * widthPx + x] = of(x, y);
  return plane;
}

/** Farthest that two maps carry a corner of a widthPx × heightPx picture apart, target px. */
export function poseDistancePx(a: Affine, b: Affine, widthPx: number, heightPx: number): number {
  let most = 0;
  for (const x of [0, widthPx - 1]) {
    for (const y of [0, heightPx - 1]) {
      const dx = applyX(a, x, y) - applyX(b, x, y);
      const dy = applyY(a, x, y) - applyY(b, x, y);
      most = Math.max(most, Math.hypot(dx, dy));
    }
  }
  return most;
}

function bucketOf(at: number, reach: number): number {
  return Math.floor((at + reach) / BUCKET_PX);
}
