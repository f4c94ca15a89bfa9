import { describe, expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { readProfile } from '../capture/icc-profile.js';
import { inPrimaries, MASTER_ENCODINGS, MASTER_PRIMARIES, oneOf, profileOf } from './master-colour.js';
import { readPlate } from './read-plate.js';
import { writePlateTiff } from './tiff.js';

const scratch = useScratch();
const [WIDTH, HEIGHT] = [64, 16];

/** Colours from dark to light, within BT.709. */
const planes = [0, 1, 2].map((c) =>
  Float32Array.from({ length: WIDTH * HEIGHT }, (_, i) => 0.01 + 0.9 * (((i * (7 + 4 * c)) % 101) / 101)),
);
const image = { width: WIDTH, height: HEIGHT, planes };
const coverage = { width: WIDTH, height: HEIGHT, data: new Float32Array(WIDTH * HEIGHT).fill(1) };
const source = () => plateFrom(scratch('plate.f32'), image, coverage);
const whole = { x0: 0, y0: 0, width: WIDTH, height: HEIGHT };

describe.each(MASTER_ENCODINGS.flatMap((e) => MASTER_PRIMARIES.map((p) => [e, p] as const)))(
  '%s, %s',
  (encoding, primaries) => {
    const colour = { encoding, primaries };
    const path = () => scratch(`${encoding}-${primaries}.tif`);

    test('comes back into the light that it was', async () => {
      const { clippedLow, clippedHigh } = await writePlateTiff(path(), inPrimaries(source(), primaries), { colour });
      expect([clippedLow, clippedHigh]).toEqual([0, 0]);
      const read = await readPlate(path());
      read.image.planes.forEach((plane, c) => {
        // Our reader's D50 is 0.04 % bluer than a profile's own.
        expectSamples(plane, planes[c]!, 5e-4);
      });
    });

    test('the profile says white where the connection space has it', () => {
      const { curves, matrix } = readProfile(profileOf(colour), 3)!;
      for (const curve of curves) expect(curve(1)).toBeCloseTo(1, 3);
      const rows = matrix ?? [1, 0, 0, 0, 1, 0, 0, 0, 1];
      for (const row of [0, 3, 6]) expect(rows[row]! + rows[row + 1]! + rows[row + 2]!).toBeCloseTo(1, 3);
      expect(profileOf(colour).equals(profileOf(colour))).toBe(true);
    });
  },
);

/** Bradford-adapted, as published with the ACES colour transforms; seven places. */
const TO_AP1 = [0.6130974, 0.3395231, 0.0473795, 0.0701937, 0.9163539, 0.0134524, 0.0206156, 0.1095698, 0.8698146];

test('the matrix to AP1 is the published one', () => {
  const read = inPrimaries(source(), 'aces-ap1').read(whole);
  read.image.planes.forEach((plane, row) => {
    const [a, b, c] = TO_AP1.slice(3 * row) as [number, number, number];
    expectSamples(
      plane,
      planes[0]!.map((_, i) => a * planes[0]![i]! + b * planes[1]![i]! + c * planes[2]![i]!),
      2e-5,
    );
  });
});

test('grey stays grey, and what is no name is told the nearest', () => {
  const grey = plateFrom(scratch('grey.f32'), { ...image, planes: planes.slice(0, 1) }, coverage);
  expect(inPrimaries(grey, 'bt2020').read(whole).image.planes).toEqual([planes[0]]);
  expect(() => oneOf('encoding', 'sRGB', MASTER_ENCODINGS)).toThrow('did you mean "srgb"?');
  expect(() => oneOf('encoding', 'zzzzzz', MASTER_ENCODINGS)).toThrow('choose one of srgb, linear, bt709, bt1886');
});
