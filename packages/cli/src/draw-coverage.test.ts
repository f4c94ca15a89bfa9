import { expect, test } from 'vitest';
import { drawCoverage } from './draw-coverage.js';

test('draws every other row, with a mark for each kind of ground', () => {
  const sharpFrames = [-1, 0, 3, -1, ...new Array<number>(4).fill(9), 12, 0, 0, 1, ...new Array<number>(4).fill(9)];
  const lit = [false, false, true, false, ...new Array<boolean>(4).fill(true), true, true, false, false];
  const [first, second, blank] = drawCoverage({ side: 4, sharpFrames, lit });
  expect([first, second, blank]).toEqual(['   ?3', '  +!?:', '']);
});
