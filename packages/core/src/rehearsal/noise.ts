import type { Random } from '../compute/random.js';

/** Smooth noise of space: a value of about -1 to 1 for a point, zero mean, features of about one unit. */
export type Noise3 = (x: number, y: number, z: number) => number;

/** How {@link fractal} stacks octaves. */
export interface FractalOptions {
  /** Frequency of the first octave, features per unit length. */
  readonly frequency: number;
  /** How many octaves, each of twice the frequency. */
  readonly octaves: number;
  /** Amplitude of an octave over that of the one before. */
  readonly gain: number;
}

/** Seeded gradient noise on a cubic lattice (Perlin 2002, doi 10.1145/566654.566636: quintic fade, twelve gradients). */
export function createNoise(random: Random): Noise3 {
  const table = shuffledBytes(random);
  return (x, y, z) => {
    const xi = Math.floor(x);
    const yi = Math.floor(y);
    const zi = Math.floor(z);
    const fx = x - xi;
    const fy = y - yi;
    const fz = z - zi;
    const u = fade(fx);
    const v = fade(fy);
    const w = fade(fz);
    const a = table[xi & 255]! + (yi & 255);
    const b = table[(xi & 255) + 1]! + (yi & 255);
    const k = zi & 255;
    const aa = table[a]! + k;
    const ab = table[a + 1]! + k;
    const ba = table[b]! + k;
    const bb = table[b + 1]! + k;
    const x00 = mix(slope(table[aa]!, fx, fy, fz), slope(table[ba]!, fx - 1, fy, fz), u);
    const x10 = mix(slope(table[ab]!, fx, fy - 1, fz), slope(table[bb]!, fx - 1, fy - 1, fz), u);
    const x01 = mix(slope(table[aa + 1]!, fx, fy, fz - 1), slope(table[ba + 1]!, fx - 1, fy, fz - 1), u);
    const x11 = mix(slope(table[ab + 1]!, fx, fy - 1, fz - 1), slope(table[bb + 1]!, fx - 1, fy - 1, fz - 1), u);
    return mix(mix(x00, x10, v), mix(x01, x11, v), w);
  };
}

/** Sum of octaves of a noise, scaled so that the first octave has amplitude 1. */
export function fractal(noise: Noise3, options: FractalOptions): Noise3 {
  const { frequency, octaves, gain } = options;
  return (x, y, z) => {
    let sum = 0;
    let f = frequency;
    let amplitude = 1;
    for (let k = 0; k < octaves; k++) {
      // The shift keeps the lattice points of the octaves from coinciding at the origin.
      const shift = 17.13 * k + 3.7;
      sum += amplitude * noise(x * f + shift, y * f - shift * 0.7, z * f + shift * 1.3);
      f *= 2.03;
      amplitude *= gain;
    }
    return sum;
  };
}

/** 0 below `from`, 1 above `to`, a cubic between; `from` may lie above `to` to turn it round. */
export function smoothstep(from: number, to: number, value: number): number {
  const t = Math.min(1, Math.max(0, (value - from) / (to - from)));
  return t * t * (3 - 2 * t);
}

function fade(t: number): number {
  return t * t * t * (t * (t * 6 - 15) + 10);
}

function mix(a: number, b: number, t: number): number {
  return a + t * (b - a);
}

/** The twelve gradients, four of them twice, as x, y, z. */
const GRADIENTS = Float64Array.from(
  [
    [1, 1, 0, -1, 1, 0, 1, -1, 0, -1, -1, 0, 1, 0, 1, -1, 0, 1, 1, 0, -1, -1, 0, -1],
    [0, 1, 1, 0, -1, 1, 0, 1, -1, 0, -1, -1, 1, 1, 0, -1, 1, 0, 0, -1, 1, 0, -1, -1],
  ].flat(),
);

function slope(hash: number, x: number, y: number, z: number): number {
  const k = (hash & 15) * 3;
  return GRADIENTS[k]! * x + GRADIENTS[k + 1]! * y + GRADIENTS[k + 2]! * z;
}

function shuffledBytes(random: Random): Uint8Array {
  const order = Uint8Array.from({ length: 256 }, (_, i) => i);
  for (let i = 255; i > 0; i--) {
    const j = Math.floor(random.uniform() * (i + 1));
    const kept = order[i]!;
    order[i] = order[j]!;
    order[j] = kept;
  }
  const table = new Uint8Array(514);
  for (let i = 0; i < table.length; i++) table[i] = order[i & 255]!;
  return table;
}
