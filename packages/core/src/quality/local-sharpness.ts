import { BLOCK_PX } from './blocks.js';
import { type GroundEnergy, groundEnergy, type PlacedBlocks } from './sharpness.js';

/** A frame on a strip, and what noise alone adds to the energy of its finest detail. */
export interface NoisyBlocks extends PlacedBlocks {
  readonly fineNoise: number;
}

/** How sharp each frame is from place to place, on cells of {@link BLOCK_PX} proxy px of the strip. */
export interface LocalSharpness {
  /** Centre of the first cell, strip px at proxy scale. */
  readonly x0: number;
  readonly y0: number;
  readonly stepPx: number;
  readonly columns: number;
  readonly rows: number;
  /** Sharpness against the mean of the frames that show the cell, by frame and cell; 1 is as sharp as the mean. */
  readonly frames: readonly Float32Array[];
  /** Which frames show a cell lit, by frame and cell: 1 or 0. */
  readonly lit: readonly Uint8Array[];
  /** Energy of the finest detail over that of the noise in a single frame, over all lit cells. */
  readonly signalToNoise: number;
}

/** A place is judged with the cells around it, as many on either side. */
const REACH_CELLS = 2;
/** A cell's mean square of fine detail is made of about so many independent samples. */
const SAMPLES_PER_CELL = 20;
/** No place counts as less sharp than this. */
const LEAST = 0.2;

/**
 * Sharpness of every frame at every place of the ground: energy of its finest detail around there, expected noise
 * subtracted, against the mean of all frames at the same cells. What noise makes of it is known, so that each place is
 * drawn towards the frame's own mean by as much as it deserves: the spread of the places beyond noise is estimated from
 * all of them (James & Stein's way), and where the air blurs a frame evenly nothing is left of it.
 */
export function localSharpness(frames: readonly NoisyBlocks[]): LocalSharpness {
  const ground = groundEnergy(frames);
  const looks = frames.map((frame, k) => lookAround(ground, k, frame.fineNoise));
  let spread = 0;
  let count = 0;
  for (const { ratio, variance, mean } of looks) {
    for (let i = 0; i < ratio.length; i++) {
      if (Number.isNaN(ratio[i])) continue;
      spread += (ratio[i]! - mean) ** 2 - variance[i]!;
      count++;
    }
  }
  const beyondNoise = Math.max(0, spread / Math.max(1, count));
  const sharpness = looks.map(({ ratio, variance, mean }) =>
    Float32Array.from(ratio, (r, i) => {
      const share = Number.isNaN(r) || beyondNoise === 0 ? 0 : beyondNoise / (beyondNoise + variance[i]!);
      return Math.sqrt(Math.max(LEAST ** 2, mean + (share > 0 ? share * (r - mean) : 0)));
    }),
  );
  const { x0, y0, columns, rows } = ground;
  return {
    ...{ x0, y0, stepPx: BLOCK_PX, columns, rows, frames: sharpness },
    lit: ground.frames.map((map) => Uint8Array.from(map, (e) => (Number.isNaN(e) ? 0 : 1))),
    signalToNoise: signalToNoise(ground, frames),
  };
}

interface Look {
  /** Energy against the mean around each cell; NaN where nothing is to be compared. */
  readonly ratio: Float64Array;
  /** Variance of the ratio by noise. */
  readonly variance: Float64Array;
  /** Ratio over the whole frame. */
  readonly mean: number;
}

function lookAround({ columns, rows, frames, mean, light }: GroundEnergy, k: number, fineNoise: number): Look {
  const own = frames[k]!;
  const ratio = new Float64Array(own.length).fill(Number.NaN);
  const variance = new Float64Array(own.length);
  let [all, allMean] = [0, 0];
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      let [energy, shared, noise] = [0, 0, 0];
      for (let y = Math.max(0, r - REACH_CELLS); y <= Math.min(rows - 1, r + REACH_CELLS); y++) {
        for (let x = Math.max(0, c - REACH_CELLS); x <= Math.min(columns - 1, c + REACH_CELLS); x++) {
          const i = y * columns + x;
          if (Number.isNaN(own[i]) || mean[i] === 0) continue;
          energy += own[i]!;
          shared += mean[i]!;
          noise += (2 / SAMPLES_PER_CELL) * (Math.max(0, own[i]!) + fineNoise / light[i]! ** 2) ** 2;
        }
      }
      const i = r * columns + c;
      if (Number.isNaN(own[i]) || mean[i] === 0) continue;
      all += own[i]!;
      allMean += mean[i]!;
      if (!(shared > 0)) continue;
      ratio[i] = energy / shared;
      variance[i] = noise / shared ** 2;
    }
  }
  return { ratio, variance, mean: allMean > 0 ? Math.max(0, all / allMean) : 1 };
}

function signalToNoise({ mean, light }: GroundEnergy, frames: readonly NoisyBlocks[]): number {
  const fineNoise = frames.reduce((sum, f) => sum + f.fineNoise / frames.length, 0);
  let [signal, noise] = [0, 0];
  for (let i = 0; i < mean.length; i++) {
    if (mean[i] === 0) continue;
    signal += Math.max(0, mean[i]!);
    noise += fineNoise / light[i]! ** 2;
  }
  return noise > 0 ? signal / noise : Number.MAX_SAFE_INTEGER;
}
