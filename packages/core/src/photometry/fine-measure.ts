import { applyX, applyY, mappedBounds } from '../compute/affine.js';
import type { FloatPool } from '../compute/float-pool.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createFloats, type Plane } from '../compute/image.js';
import type { WorkerPool } from '../compute/pool.js';
import type { FineFrame } from './fine-frame.js';
import { keepSignificant, type WeighedField } from './fine-shrink.js';
import { type FineSums, fineTask, type GroundSums } from './fine-task.js';

/** Rounds of ground and pattern in turn: the first ground holds shadows as long as the drift, the next hardly any. */
export const FINE_ROUNDS = 2;
/** Rows that one task works on. Fixed, so that sums do not depend on the number of workers. */
const BAND_ROWS = 96;
/** A pass tells ground and sensor apart when it has so many frames, and drifts so far, px. */
const LEAST_FRAMES = 4;
const LEAST_DRIFT_PX = 48;

/** Whether a pass can tell anything about the fine pattern. */
export function tellsPattern(frames: readonly FineFrame[]): boolean {
  if (frames.length < LEAST_FRAMES) return false;
  const { width, height } = frames[0]!.light;
  const xs = frames.map(({ pose }) => applyX(pose, width / 2, height / 2));
  const ys = frames.map(({ pose }) => applyY(pose, width / 2, height / 2));
  return Math.hypot(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys)) >= LEAST_DRIFT_PX;
}

/**
 * What single places of the sensor take of the light beside the smooth pattern: dust shadows, for the most part.
 * The ground of each pass, as its frames show it in the mean, is held against each frame; what stays where it is on the
 * sensor while the ground moves on is the sensor's. In a drift of even steps the ground cannot tell a shadow from its
 * opposite at all other steps: of the two the sparse one is taken, by leaving what is found to be shaded out of
 * the next round's ground (iteratively reweighted least squares). Of the pattern is kept what even and odd
 * frames agree on. What is as long as the drift stays in the ground.
 *
 * @param passes frames of one size; of passes with {@link tellsPattern}
 * @param lift what undoes the smooth pattern, one factor a px, in shared memory
 * @returns natural log of the factor, at proxy scale; 0 where nothing is known
 */
export async function measureFine(
  passes: readonly (readonly FineFrame[])[],
  lift: Float32Array,
  pool: WorkerPool,
  signal?: AbortSignal,
  onDone: (done: number) => void = () => {},
): Promise<Plane> {
  const { width, height } = passes[0]![0]!.light;
  const size = width * height;
  const shared = (): Float32Array => createFloats(size, true);
  const [known, trust] = [shared(), shared()];
  const sums: FineSums = { residual: [shared(), shared()], weight: [shared(), shared()] };
  trust.fill(1);
  let done = 0;
  for (let round = 0; round < FINE_ROUNDS; round++) {
    for (const plane of [...sums.residual, ...sums.weight]) plane.fill(0);
    for (const frames of passes) {
      const ground = createGround(frames, pool.floats);
      const common = { ground, frames, lift, known, trust };
      const stack = bandsOf(ground.height).map((rows) => ({ kind: 'ground' as const, ...common, rows }));
      await pool.map(fineTask, stack, { signal });
      const compare = bandsOf(height).map((rows) => ({ kind: 'sensor' as const, ...common, rows, sums }));
      await pool.map(fineTask, compare, { signal });
      pool.floats.give([...ground.planes, ground.weight]);
      onDone(++done);
    }
    const [even, odd] = [0, 1].map((h) => ({
      sum: { width, height, data: sums.residual[h]! },
      weight: { width, height, data: sums.weight[h]! },
    })) as [WeighedField, WeighedField];
    known.set(keepSignificant(even, odd).data);
    trustClean({ width, height, data: known }, trust);
  }
  return { width, height, data: known };
}

/** How much less light from places that take some counts in the ground, so that their shadows are not in it. */
function trustClean(known: Plane, trust: Float32Array): void {
  const squares = { ...known, data: known.data.map((v) => v * v) };
  const depth2 = gaussianBlur(squares, RIM_PX).data;
  for (let i = 0; i < trust.length; i++) trust[i] = 1 / (1 + (depth2[i]! / (CLEAN * CLEAN)) ** 2);
}

const RIM_PX = 2;
/** Places that differ by less are as good as clean, natural log. */
const CLEAN = 0.002;

function createGround(frames: readonly FineFrame[], pool: FloatPool): GroundSums {
  const bounds = frames.map(({ pose, light }) => mappedBounds(pose, light.width, light.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const y0 = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1;
  const height = Math.ceil(Math.max(...bounds.map((b) => b.y1))) - y0 + 1;
  const floats = (): Float32Array => pool.take(width * height).fill(0);
  return { x0, y0, width, height, planes: [floats(), floats()], weight: floats() };
}

function bandsOf(height: number): (readonly [number, number])[] {
  return Array.from(
    { length: Math.ceil(height / BAND_ROWS) },
    (_, k) => [k * BAND_ROWS, Math.min(height, (k + 1) * BAND_ROWS)] as const,
  );
}
