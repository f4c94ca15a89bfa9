import { describe, expect, it } from 'vitest';
import { closeDisc, erodeSquare, type Mask } from './morphology.js';
import { createRandom } from './random.js';

function speckled(width: number, height: number, share: number): Mask {
  const random = createRandom(`${width}x${height} ${share}`);
  const data = Uint8Array.from({ length: width * height }, () => (random.uniform() < share ? 1 : 0));
  return { width, height, data };
}

describe('erodeSquare', () => {
  it.each([1, 3, 7, 21])('with a square of %i px is the minimum written out', (size) => {
    const mask = speckled(19, 14, 0.97);
    const eroded = erodeSquare(mask, size);
    const radius = (size - 1) / 2;
    for (let y = 0; y < 14; y++) {
      for (let x = 0; x < 19; x++) {
        let least = 1;
        for (let v = Math.max(0, y - radius); v <= Math.min(13, y + radius); v++) {
          for (let u = Math.max(0, x - radius); u <= Math.min(18, x + radius); u++) {
            least = Math.min(least, mask.data[v * 19 + u]!);
          }
        }
        expect(eroded.data[y * 19 + x]).toBe(least);
      }
    }
  });

  it('refuses an even size', () => {
    expect(() => erodeSquare(speckled(3, 3, 1), 4)).toThrow('size must be odd and positive, got 4');
  });
});

describe('closeDisc', () => {
  it('fills a hole that the disc does not fit into, and keeps one that it does', () => {
    const size = 60;
    const data = new Uint8Array(size * size).fill(1);
    const hole = (cx: number, cy: number, radius: number): void => {
      for (let i = 0; i < data.length; i++) {
        if (Math.hypot((i % size) - cx, Math.floor(i / size) - cy) <= radius) data[i] = 0;
      }
    };
    hole(15, 15, 4);
    hole(40, 40, 12);
    const closed = closeDisc({ width: size, height: size, data }, 6);
    expect(closed.data[15 * size + 15]).toBe(1);
    expect(closed.data[40 * size + 40]).toBe(0);
  });

  it('only adds, and adds nothing the second time', () => {
    const mask = speckled(40, 33, 0.05);
    const once = closeDisc(mask, 3);
    expect(once.data.every((v, i) => v >= mask.data[i]!)).toBe(true);
    expect(once.data).not.toEqual(mask.data);
    expect(closeDisc(once, 3).data).toEqual(once.data);
  });

  it('leaves an empty mask empty and a full one full', () => {
    const empty = { width: 9, height: 8, data: new Uint8Array(72) };
    const full = { width: 9, height: 8, data: new Uint8Array(72).fill(1) };
    expect(closeDisc(empty, 4).data).toEqual(empty.data);
    expect(closeDisc(full, 4).data).toEqual(full.data);
  });
});
