import { writeFile } from 'node:fs/promises';
import { describe, expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { tiffFile } from '../../test/tiff-file.js';
import { srgbProfile } from '../plate/icc.js';
import { decodeSrgb } from './curves.js';
import { readProfile } from './icc-profile.js';
import { pictures } from './picture-library.js';
import { readStill } from './read-still.js';

const scratch = useScratch();

/** The sRGB profile with another tone curve in the place of its table: `count` entries of a `curv`. */
function withCurve(entries: readonly number[]): Buffer {
  const profile = Buffer.from(srgbProfile());
  const at = profile.indexOf('curv', 0, 'latin1');
  profile.writeUInt32BE(entries.length, at + 8);
  entries.forEach((value, i) => {
    profile.writeUInt16BE(value, at + 12 + i * 2);
  });
  return profile;
}

/** The same with a parametric curve. */
function withParameters(type: number, parameters: readonly number[]): Buffer {
  const profile = Buffer.from(srgbProfile());
  const at = profile.indexOf('curv', 0, 'latin1');
  profile.write('para', at, 'latin1');
  profile.writeUInt32BE(type << 16, at + 8);
  parameters.forEach((value, i) => {
    profile.writeInt32BE(Math.round(value * 65536), at + 12 + i * 4);
  });
  return profile;
}

async function rampWith(icc: Buffer): Promise<string> {
  const samples = Uint16Array.from({ length: 4096 * 3 }, (_, i) => Math.floor(i / 3) * 16);
  const tags = [{ tag: 34675, type: 'undefined', values: icc }] as const;
  await writeFile(scratch('ramp.tif'), tiffFile({ width: 64, height: 64, samples, bits: 16, perPixel: 3, tags }));
  return scratch('ramp.tif');
}

test('the sRGB profile is taken as sRGB, exactly', async () => {
  const { curve, image } = await readStill(await rampWith(srgbProfile()));
  expect(curve).toBe('srgb');
  expect(image.planes[1]![1000]).toBe(Math.fround(decodeSrgb(16000 / 65535)));
});

test('a profile called sRGB whose curve is a straight line gives linear light', async () => {
  const { curve, image } = await readStill(await rampWith(withCurve([])));
  expect(curve).toBe('profile');
  for (let i = 0; i < 4096; i++) expect(Math.abs(image.planes[0]![i]! - (i * 16) / 65535)).toBeLessThan(1e-7);
});

test('an override passes over the profile', async () => {
  const path = await rampWith(withCurve([]));
  const { curve, image } = await readStill(path, { curve: 'srgb' });
  expect(curve).toBe('srgb');
  expect(image.planes[2]![4000]).toBe(Math.fround(decodeSrgb(64000 / 65535)));
});

describe('curves', () => {
  test.each([
    ['one exponent', withCurve([Math.round(2.2 * 256)]), 0.5 ** (563 / 256)],
    ['a table of two', withCurve([0, 65535]), 0.5],
    ['a table of three', withCurve([0, 13107, 65535]), 0.2],
    ['type 0', withParameters(0, [2]), 0.25],
    ['type 1', withParameters(1, [2, 2, -0.5]), 0.25],
    ['type 2', withParameters(2, [2, 1, 0, 0.125]), 0.375],
    ['type 3', withParameters(3, [2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]), decodeSrgb(0.5)],
    ['type 3 below its joint', withParameters(3, [2, 1, 0, 0.25, 0.75]), 0.125],
    ['type 4', withParameters(4, [2, 1, 0, 0.25, 0.125, 0.0625, 0]), 0.3125],
  ])('%s', (_, icc, expected) => {
    // Parameters are kept to 1/65536.
    expect(readProfile(icc, 3)!.curves[0]!(0.5)).toBeCloseTo(expected, 4);
  });
});

test('wider primaries are converted: sRGB colours stored as P3 come back', async () => {
  const path = scratch('p3.png');
  const colours = [200, 40, 40, 30, 180, 60, 20, 60, 210, 128, 128, 128];
  await pictures(Buffer.from(colours), { raw: { width: 4, height: 1, channels: 3 } })
    .withIccProfile('p3')
    .png()
    .toFile(path);
  const { curve, image } = await readStill(path);
  const { image: raw } = await readStill(path, { curve: 'srgb' });
  expect(curve).toBe('profile');
  colours.forEach((code, i) => {
    const value = image.planes[i % 3]![Math.floor(i / 3)]!;
    // The file holds P3 to 8 bits; half a code at its steepest, through the matrix, is 0.006 in linear light.
    expect(Math.abs(value - decodeSrgb(code / 255))).toBeLessThan(0.006);
  });
  expect(Math.abs(raw.planes[0]![0]! - decodeSrgb(200 / 255))).toBeGreaterThan(0.04);
});

test.each([
  ['damaged', Buffer.alloc(200), 'damaged'],
  ['cut short', srgbProfile().subarray(0, 1000), 'cut short'],
  ['for another space', Buffer.from(srgbProfile()).fill('CMYK', 16, 20), 'is for CMYK'],
])('a profile that is %s is refused', async (_, icc, message) => {
  await expect(readStill(await rampWith(icc))).rejects.toThrow(message);
});
