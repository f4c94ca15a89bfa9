import { expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { shared } from '../../test/shared.js';
import { openStill } from './open-still.js';
import { readStill } from './read-still.js';

const FILES = [
  'captures/open_halves/capture/lower/frame_0003.png',
  'formats/jpeg/Landscape_3.jpg',
  'formats/jpeg/Landscape_6.jpg',
];

test.each(FILES)('gives the light that reading the whole file gives, for any rows: %s', async (file) => {
  const whole = await readStill(shared(`real/${file}`));
  const still = await openStill(shared(`real/${file}`));
  const { width, height, planes } = whole.image;
  expect(still).toMatchObject({ width, height, channels: planes.length });
  expect(still).toMatchObject({ curve: whole.curve, notes: whole.notes });
  expect(still.clipped()).toBe(whole.clipped);
  for (const [y, rows] of [
    [0, 1],
    [height - 3, 3],
    [17, 40],
  ] as const) {
    const into = planes.map(() => new Float32Array(rows * width));
    still.rows(y, into);
    for (const [c, plane] of into.entries()) expectSamples(plane, planes[c]!.subarray(y * width, (y + rows) * width));
  }
});

test('refuses what cannot be read, by name', async () => {
  const path = `${shared('real/formats/png')}/none-such.png`;
  await expect(openStill(path)).rejects.toMatchObject({
    code: 'FRAME_UNREADABLE',
    message: expect.stringContaining(path),
  });
});
