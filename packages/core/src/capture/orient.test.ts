import { expect, test } from 'vitest';
import { orientInto, swapsSides } from './orient.js';

/** A stored picture of 3 x 2 samples; the letters of the comments are its rows: abc, def. */
const STORED = Float32Array.from([1, 2, 3, 4, 5, 6]);

function turn(data: Float32Array, width: number, height: number, orientation: number): Float32Array {
  const out = new Float32Array(data.length);
  orientInto(out, { width, height, data }, orientation);
  return out;
}

// TIFF 6.0, tag 274: where the stored first row and first column are shown.
test.each([
  [1, [1, 2, 3, 4, 5, 6]], // row on top, column on the left: abc def
  [2, [3, 2, 1, 6, 5, 4]], // top, right: cba fed
  [3, [6, 5, 4, 3, 2, 1]], // bottom, right: fed cba
  [4, [4, 5, 6, 1, 2, 3]], // bottom, left: def abc
  [5, [1, 4, 2, 5, 3, 6]], // left, top: ad be cf
  [6, [4, 1, 5, 2, 6, 3]], // right, top: da eb fc
  [7, [6, 3, 5, 2, 4, 1]], // right, bottom: fc eb da
  [8, [3, 6, 2, 5, 1, 4]], // left, bottom: cf be ad
])('orientation %i', (orientation, expected) => {
  expect([...turn(STORED, 3, 2, orientation)]).toEqual(expected);
});

test('four quarter-turns and two half-turns give the input back', () => {
  for (const [orientation, times] of [
    [6, 4],
    [8, 4],
    [3, 2],
    [2, 2],
    [4, 2],
    [5, 2],
    [7, 2],
  ] as const) {
    let data: Float32Array = STORED;
    let size: [number, number] = [3, 2];
    for (let i = 0; i < times; i++) {
      data = turn(data, ...size, orientation);
      if (swapsSides(orientation)) size = [size[1], size[0]];
    }
    expect(data).toEqual(STORED);
  }
});
