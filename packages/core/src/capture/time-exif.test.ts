import { readFile } from 'node:fs/promises';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { shared } from '../../test/shared.js';
import { pictures } from './picture-library.js';
import { readExifBlock, readTiffExif } from './time-exif.js';

/** A block of 64 KiB whose first directory is full of entries that each claim most of the block. */
function greedy(tag: (i: number) => number, type: number, entries: number): Buffer {
  const block = Buffer.alloc(65_500);
  block.write('II*\0', 0, 'latin1');
  block.writeUInt32LE(8, 4);
  block.writeUInt16LE(entries, 8);
  for (let i = 0; i < entries; i++) {
    const at = 10 + 12 * i;
    block.writeUInt16LE(tag(i), at);
    block.writeUInt16LE(type, at + 2);
    block.writeUInt32LE(60_000, at + 4);
  }
  return block;
}

describe('blocks that mean harm', () => {
  test.each([
    ['other tags', greedy((i) => 1000 + i, 1, 4000)],
    ['wanted tags', greedy(() => 36867, 2, 4000)],
    ['fractions', greedy(() => 33434, 5, 4000)],
    ['Exif directories', greedy(() => 34665, 4, 4000)],
  ])('%s that each claim the block cost next to nothing', async (_, block) => {
    const before = process.cpuUsage();
    expect(await readExifBlock(block)).toEqual({
      ...{ taken: undefined, changed: undefined, exposureS: undefined, iso: undefined, xmp: undefined },
    });
    expect(process.cpuUsage(before).user / 1e6).toBeLessThan(1);
  });

  test('an Exif directory that is the first one', async () => {
    const block = greedy(() => 34665, 4, 1);
    block.writeUInt32LE(1, 14);
    block.writeUInt32LE(8, 18);
    expect((await readExifBlock(block)).taken).toBeUndefined();
  });

  test.each([
    ['nothing', Buffer.alloc(0)],
    ['too many tags', greedy((i) => i, 1, 5000)],
    ['cut short', greedy((i) => i, 1, 400).subarray(0, 1000)],
  ])('%s: a plain error', async (_, block) => {
    await expect(readExifBlock(block)).rejects.toThrow(Error);
  });

  test('a value beyond what dates need is not read', async () => {
    let most = 0;
    const block = greedy(() => 36867, 2, 1);
    await readTiffExif(
      {
        read: async (buffer, offset, length, position) => {
          most = Math.max(most, length);
          return { buffer, bytesRead: block.copy(buffer, offset, position, position + length) };
        },
      },
      block.length,
    );
    expect(most).toBeLessThan(100);
  });
});

test('a real block with bytes changed at random is read, or refused with a plain error', async () => {
  const { exif } = await pictures(await readFile(shared('real/photos/eclipse-1.jpg'))).metadata();
  const block = exif!.subarray(0, 1500);
  expect((await readExifBlock(block)).taken).toMatchObject({ offsetMin: 330 });
  const change = fc.tuple(fc.nat(block.length - 1), fc.nat(255));
  let read = 0;
  await fc.assert(
    fc.asyncProperty(fc.array(change, { minLength: 1, maxLength: 20 }), fc.nat(60), async (changes, cut) => {
      const bytes = Buffer.from(block.subarray(0, block.length - 20 * Math.max(0, cut - 30)));
      for (const [at, value] of changes) bytes[at % bytes.length] = value;
      try {
        const { taken, exposureS, iso } = await readExifBlock(bytes);
        if (taken !== undefined) {
          expect(Number.isFinite(taken.clockMs)).toBe(true);
          read++;
        }
        if (exposureS !== undefined) expect(exposureS).toBeGreaterThan(0);
        if (iso !== undefined) expect(iso).toBeGreaterThan(0);
      } catch (error) {
        expect((error as Error).message).toMatch(/cut short|directory announces|does not begin as a TIFF/);
      }
    }),
    { seed: 14, numRuns: 1000 },
  );
  expect(read).toBeGreaterThan(300);
});
