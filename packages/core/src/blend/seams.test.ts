import { describe, expect, it } from 'vitest';
import type { CoarseStrip } from './coarse-strip.js';
import { findSeams, NOBODY } from './seams.js';

const WIDTH = 40;
const HEIGHT = 60;
const BOX = { x0: 0, y0: 0, width: WIDTH, height: HEIGHT };

/** A strip that covers some rows, all of its width, with light and weight as told. */
function stripOf(
  from: number,
  to: number,
  light: (x: number, y: number) => number,
  weight: (x: number, y: number) => number = () => 1,
): CoarseStrip {
  const fill = (of: (x: number, y: number) => number): Float32Array =>
    Float32Array.from({ length: WIDTH * HEIGHT }, (_, i) => {
      const [x, y] = [i % WIDTH, Math.floor(i / WIDTH)];
      return y >= from && y < to ? of(x, y) : 0;
    });
  return { box: BOX, planes: [fill(light)], cover: fill(() => 1), weight: fill(weight) };
}

/** Row in which each column goes from the first strip to the second; NaN where it changes more than once. */
function seamOf(label: Uint8Array): number[] {
  return Array.from({ length: WIDTH }, (_, x) => {
    const column = Array.from({ length: HEIGHT }, (__, y) => label[y * WIDTH + x]!);
    const first = column.indexOf(1);
    return column.slice(first).every((l) => l === 1) && column.slice(0, first).every((l) => l === 0)
      ? first
      : Number.NaN;
  });
}

describe('findSeams', () => {
  it('gives cells to the only strip that covers them, and the others to nobody', () => {
    const { label } = findSeams([stripOf(0, 20, () => 0.3), stripOf(30, 50, () => 0.3)], BOX);
    label.forEach((l, i) => {
      const y = Math.floor(i / WIDTH);
      expect(l).toBe(y < 20 ? 0 : y >= 30 && y < 50 ? 1 : NOBODY);
    });
  });

  it('leads around what the strips do not agree on', () => {
    // In the middle of the overlap, rows 20 to 40, stands something that only the first strip shows.
    const odd = (x: number, y: number): number => (Math.hypot(x - 20, y - 30) < 6 ? 0.6 : 0.3);
    const seam = seamOf(findSeams([stripOf(0, 40, odd), stripOf(20, 60, () => 0.3)], BOX).label);
    for (let x = 0; x < WIDTH; x++) {
      expect(seam[x]).toBeGreaterThanOrEqual(20);
      expect(seam[x]).toBeLessThanOrEqual(40);
      if (Math.abs(x - 20) < 5) expect(Math.abs(seam[x]! - 30)).toBeGreaterThanOrEqual(5);
    }
  });

  it('goes where the weights are equal when nothing else matters', () => {
    const falling = (_: number, y: number): number => 1 - (y - 20) / 20 + 1e-3;
    const rising = (_: number, y: number): number => (y - 20) / 20 + 1e-3;
    const strips = [
      stripOf(
        0,
        40,
        () => 0.3,
        (x, y) => (y < 20 ? 1 : falling(x, y)),
      ),
      stripOf(
        20,
        60,
        () => 0.3,
        (x, y) => (y >= 40 ? 1 : rising(x, y)),
      ),
    ];
    for (const row of seamOf(findSeams(strips, BOX).label)) expect(Math.abs(row - 30)).toBeLessThanOrEqual(1);
  });
});
