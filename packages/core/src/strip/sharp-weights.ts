import { bilinearAt } from '../compute/sample.js';
import type { LocalSharpness } from '../quality/local-sharpness.js';

/** What a power of the sharpness as weight gives. */
export interface WeightTrade {
  readonly power: number;
  /** Mean sharpness of what is stacked; 1 is that of even weights. */
  readonly sharpness: number;
  /** Noise of what is stacked; 1 is that of even weights. */
  readonly noise: number;
  /** Share of the finest detail that would be the ground's, 0..1. */
  readonly fidelity: number;
}

/** How the sharp moments of a pass are chosen. */
export interface SharpChoice {
  /** Frames are weighed by this power of their sharpness at each place. */
  readonly power: number;
  /** What was weighed up. */
  readonly trades: readonly WeightTrade[];
}

const POWERS = [0, 1, 1.5, 2, 3, 4] as const;
/** So much fidelity is given for sharpness. */
const WORTH = 0.003;
/** From this sharpness on a frame has its full weight. */
const FULL_AT = 1.3;

/**
 * Chooses how strongly sharp moments are preferred, from the trade of sharpness against noise that the frames themselves
 * show: the strongest power that costs next to nothing of the share of the finest detail that is the ground's. With much
 * noise that is near the first power, which alone gives the best ratio of signal to noise; with little the plate is made
 * of the sharpest moments.
 */
export function chooseSharp(local: LocalSharpness): SharpChoice {
  const trades = POWERS.map((power) => tradeOf(local, power));
  const best = Math.max(...trades.map((t) => t.fidelity));
  const { power } = trades.findLast((t) => t.fidelity >= best - WORTH)!;
  return { power, trades };
}

/** Weight of a frame at a place of the strip, 0..1. */
export function weightAt(local: LocalSharpness, power: number, frame: number, x: number, y: number): number {
  const { x0, y0, stepPx, columns, rows, frames } = local;
  const u = Math.min(columns - 1, Math.max(0, (x - x0) / stepPx));
  const v = Math.min(rows - 1, Math.max(0, (y - y0) / stepPx));
  return weightOf(bilinearAt(frames[frame]!, columns, rows, u, v), power);
}

function weightOf(sharpness: number, power: number): number {
  return Math.min(1, (sharpness / FULL_AT) ** power);
}

function tradeOf(local: LocalSharpness, power: number): WeightTrade {
  let [sharpness, even, noise, evenNoise, fidelity, cells] = [0, 0, 0, 0, 0, 0];
  for (let i = 0; i < local.columns * local.rows; i++) {
    let [sum, squares, signal, plain, count] = [0, 0, 0, 0, 0];
    local.frames.forEach((map, k) => {
      if (local.lit[k]![i] === 0) return;
      const weight = weightOf(map[i]!, power);
      sum += weight;
      squares += weight * weight;
      signal += weight * map[i]!;
      plain += map[i]!;
      count++;
    });
    if (count < 2) continue;
    const seen = signal / sum;
    const left = squares / (sum * sum);
    sharpness += seen;
    even += plain / count;
    noise += left;
    evenNoise += 1 / count;
    fidelity += 1 / (1 + left / (seen * seen * local.signalToNoise));
    cells++;
  }
  if (cells === 0) return { power, sharpness: 1, noise: 1, fidelity: 1 };
  return {
    power,
    sharpness: sharpness / even,
    noise: Math.sqrt(noise / evenNoise),
    fidelity: fidelity / cells,
  };
}
