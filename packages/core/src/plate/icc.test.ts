import { writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { decodeSrgb } from '../capture/curves.js';
import { readProfile } from '../capture/icc-profile.js';
import { pictures } from '../capture/picture-library.js';
import { embedProfileInJpeg, srgbProfile } from './icc.js';

const scratch = useScratch();

test('the header says what ICC.1:2001-04 asks for', () => {
  const profile = srgbProfile();
  expect(profile.readUInt32BE(0)).toBe(profile.length);
  expect(profile.length % 4).toBe(0);
  expect(profile.toString('latin1', 12, 24)).toBe('mntrRGB XYZ ');
  expect(profile.toString('latin1', 36, 40)).toBe('acsp');
  // Primaries that add up to the white of the connection space, to the last bit that a profile can hold.
  const sum = ['rXYZ', 'gXYZ', 'bXYZ'].map((tag) => {
    const entry = profile.indexOf(tag, 128, 'latin1');
    const at = profile.readUInt32BE(entry + 4);
    return [8, 12, 16].map((offset) => profile.readInt32BE(at + offset));
  });
  const white = [0, 1, 2].map((i) => sum.reduce((total, column) => total + column[i]!, 0));
  [0.9642, 1, 0.8249].forEach((value, i) => {
    expect(Math.abs(white[i]! - value * 65536)).toBeLessThan(2);
  });
});

test('its curve stays within half a 16-bit step of the standard at its entries, and 1e-6 between them', () => {
  const conversion = readProfile(srgbProfile(), 3)!;
  expect(conversion.isSrgb).toBe(true);
  for (let i = 0; i <= 5000; i++) {
    const off = Math.abs(conversion.curves[1]!(i / 5000) - decodeSrgb(i / 5000));
    expect(off).toBeLessThan(0.5 / 65535 + 1e-6);
  }
});

test('another colour engine reads it: from it to the engine’s own sRGB nothing changes by more than a code', async () => {
  const codes = Uint8Array.from({ length: 3 * 1024 }, (_, i) => (i * 37) & 255);
  const icc = scratch('srgb.icc');
  await writeFile(icc, srgbProfile());
  const converted = await pictures(codes, { raw: { width: 32, height: 32, channels: 3 } })
    .withIccProfile(icc)
    .png()
    .toBuffer();
  const { data } = await pictures(converted, { ignoreIcc: true }).raw().toBuffer({ resolveWithObject: true });
  expect(Math.max(...data.map((code, i) => Math.abs(code - codes[i]!)))).toBeLessThanOrEqual(1);
  expect((await pictures(converted).metadata()).icc).toEqual(srgbProfile());
});

test('a JPEG takes a profile of any length without a change to its pixels', async () => {
  const plain = await pictures(Buffer.alloc(300, 77), { raw: { width: 10, height: 10, channels: 3 } })
    .jpeg()
    .toBuffer();
  const long = Buffer.concat([srgbProfile(), Buffer.alloc(150_000)]);
  long.writeUInt32BE(long.length, 0);
  for (const profile of [srgbProfile(), long]) {
    const tagged = embedProfileInJpeg(plain, profile);
    expect((await pictures(tagged).metadata()).icc?.equals(profile)).toBe(true);
    const pixels = (jpeg: Buffer): Promise<Buffer> => pictures(jpeg, { ignoreIcc: true }).raw().toBuffer();
    expect(await pixels(tagged)).toEqual(await pixels(plain));
  }
});
