import { expect, test } from 'vitest';
import { madePlate } from '../../test/report-fixture.js';
import { decodeSrgb } from '../capture/curves.js';
import { pictures } from '../capture/picture-library.js';
import { encodeSrgb8 } from '../plate/encode.js';
import type { PlateSource } from '../plate/plate-source.js';
import { makeTiles, TILE_PX } from './tiles.js';

/** Even light, the left part of it not covered. */
function flat(width: number, height: number, uncovered: number): PlateSource {
  return {
    width,
    height,
    channels: 1,
    read: (box) => {
      const at = (value: number): Float32Array =>
        Float32Array.from({ length: box.width * box.height }, (_, i) =>
          (i % box.width) + box.x0 < uncovered ? 0 : value,
        );
      const size = { width: box.width, height: box.height };
      return { image: { ...size, planes: [at(0.2)] }, coverage: { ...size, data: at(1) } };
    },
  };
}

async function greysOf(jpeg: Buffer): Promise<{ width: number; height: number; at: (x: number, y: number) => number }> {
  const { data, info } = await pictures(jpeg).toColourspace('b-w').raw().toBuffer({ resolveWithObject: true });
  return { width: info.width, height: info.height, at: (x, y) => data[y * info.width + x]! };
}

test('a small plate is one tile of its own codes, with grey where nothing is covered', async () => {
  const { tiles, ...facts } = await makeTiles(flat(100, 60, 48), { mostBytes: 1e6 });
  expect(facts).toEqual({ widthPx: 100, heightPx: 60, halvings: 0, quality: 92, levels: 1 });
  expect([...tiles.keys()]).toEqual(['0/0/0']);
  const { width, height, at } = await greysOf(tiles.get('0/0/0')!);
  expect([width, height]).toEqual([100, 60]);
  // Flat blocks of 8 px are off by rounding alone.
  expect(Math.abs(at(80, 30) - encodeSrgb8(0.2))).toBeLessThanOrEqual(1);
  expect(Math.abs(at(20, 30) - 64)).toBeLessThanOrEqual(1);
});

test('levels are halved in linear light, odd sizes rounded up, and what nothing covers has no tile', async () => {
  const { tiles, levels } = await makeTiles(flat(2001, 601, 515), { mostBytes: 1e6 });
  expect(levels).toBe(3);
  expect([...tiles.keys()]).toEqual([
    ...['0/0/0', '1/0/0', '1/1/0', '2/1/0', '2/1/1', '2/2/0', '2/2/1', '2/3/0', '2/3/1'],
  ]);
  const small = await greysOf(tiles.get('0/0/0')!);
  expect([small.width, small.height]).toEqual([501, 151]);
  // Column 128 holds columns 512 to 515, one of which is covered.
  const mixed = encodeSrgb8(0.25 * 0.2 + 0.75 * decodeSrgb(64 / 255));
  expect(Math.abs(small.at(128, 70) - mixed)).toBeLessThanOrEqual(4);
  expect(Math.abs(small.at(400, 150) - encodeSrgb8(0.2))).toBeLessThanOrEqual(1);
  const last = await greysOf(tiles.get('2/3/1')!);
  expect([last.width, last.height]).toEqual([2001 - 3 * TILE_PX, 601 - TILE_PX]);
});

test('with less room quality falls first, then the finest level; without any room it is told', async () => {
  const plate = madePlate(1400, 1100);
  const bytesOf = (tiles: ReadonlyMap<string, Buffer>): number =>
    [...tiles.values()].reduce((sum, { length }) => sum + length, 0);
  const free = await makeTiles(plate, { mostBytes: 1e8 });
  expect([free.halvings, free.quality]).toEqual([0, 92]);
  const coarser = await makeTiles(plate, { mostBytes: 0.8 * bytesOf(free.tiles) });
  expect([coarser.halvings, coarser.widthPx]).toEqual([0, 1400]);
  expect(coarser.quality).toBeLessThan(92);
  expect(bytesOf(coarser.tiles)).toBeLessThanOrEqual(0.8 * bytesOf(free.tiles));
  const smaller = await makeTiles(plate, { mostBytes: 0.3 * bytesOf(free.tiles) });
  expect([smaller.halvings, smaller.widthPx, smaller.levels]).toEqual([1, 700, 2]);
  expect(bytesOf(smaller.tiles)).toBeLessThanOrEqual(0.3 * bytesOf(free.tiles));
  await expect(makeTiles(plate, { mostBytes: 100 })).rejects.toMatchObject({ code: 'INTERNAL' });
});

test('a grainy plate of 4096 px is there at 1:1', async () => {
  // A quarter of its pixels, in a quarter of the room.
  const grain = madePlate(2048, 2048);
  const { halvings } = await makeTiles(grain, { mostBytes: 10e6 / 4 });
  expect(halvings).toBe(0);
});
