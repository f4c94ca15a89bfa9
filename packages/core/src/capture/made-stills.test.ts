import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { readStill } from './read-still.js';

const WIDTH = 83;
const HEIGHT = 45;

/** What test/stills/make.py has given to other writers. */
function madeValue(x: number, y: number, channel: number): number {
  return ((5 * x + 11 * y + 17 * channel) % 127) / 128;
}

async function expectMade(name: string, channels: number, recorded: (made: number) => number): Promise<void> {
  const { image, curve } = await readStill(fileURLToPath(new URL(`../../test/stills/${name}`, import.meta.url)));
  expect(curve).toBe('linear');
  expect([image.width, image.height, image.planes.length]).toEqual([WIDTH, HEIGHT, channels]);
  let worst = 0;
  image.planes.forEach((plane, channel) => {
    plane.forEach((value, i) => {
      const made = recorded(madeValue(i % WIDTH, Math.floor(i / WIDTH), channel));
      worst = Math.max(worst, Math.abs(value - made));
    });
  });
  expect(worst).toBeLessThan(1e-7);
}

describe('OpenEXR by another writer', () => {
  const names = ['none', 'rle', 'zips', 'zip', 'piz', 'pxr24'].flatMap((name) => [`${name}-half`, `${name}-float`]);
  it.each(names)('%s', (name) => expectMade(`${name}.exr`, 3, (made) => made));
});

describe('FITS by another writer', () => {
  it.each(['RICE_1', 'GZIP_1', 'GZIP_2'])('whole numbers in tiles by %s', (name) =>
    expectMade(`${name}.fits`, 1, (made) => (25_600 * made) / 32_767),
  );
  it('floats in tiles', () => expectMade('float.fits', 1, (made) => made));
  it('unsigned numbers by BZERO', () => expectMade('unsigned.fits', 1, (made) => (25_600 * made + 30_000) / 65_535));
  it('three planes', () => expectMade('planes.fits', 3, (made) => made));
});
