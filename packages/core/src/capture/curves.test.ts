import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { decodeBt709, decodeSrgb, decodingTable, encodeBt709, encodeSrgb } from './curves.js';

describe('sRGB', () => {
  test('known values', () => {
    expect(decodeSrgb(0)).toBe(0);
    expect(decodeSrgb(1)).toBe(1);
    // ((0.5 + 0.055) / 1.055)^2.4, worked out to 50 digits elsewhere.
    expect(decodeSrgb(0.5)).toBeCloseTo(0.2140411404822325, 14);
    expect(decodeSrgb(0.04)).toBeCloseTo(0.04 / 12.92, 15);
  });

  test('branches meet within the rounding of the standard', () => {
    expect(Math.abs(decodeSrgb(0.04045) - decodeSrgb(0.0404501))).toBeLessThan(5e-8);
    expect(Math.abs(encodeSrgb(0.0031308) - encodeSrgb(0.00313081))).toBeLessThan(2e-7);
  });

  test('encoding undoes decoding, and both are odd', () => {
    fc.assert(
      fc.property(fc.double({ min: -1, max: 1, noNaN: true }), (value) => {
        // The standard's rounded constants leave a gap of 3e-8 where the branches meet.
        expect(Math.abs(encodeSrgb(decodeSrgb(value)) - value)).toBeLessThan(1e-6);
        expect(decodeSrgb(-value)).toBe(-decodeSrgb(value));
      }),
      { seed: 1 },
    );
  });
});

describe('BT.709', () => {
  test('known values', () => {
    expect(decodeBt709(1)).toBeCloseTo(1, 14);
    expect(encodeBt709(0.01)).toBeCloseTo(0.045, 15);
    // 1.099 * 0.18^0.45 - 0.099: the camera code of a grey card.
    expect(encodeBt709(0.18)).toBeCloseTo(0.409, 3);
  });

  test('branches meet', () => {
    const joint = 0.018053968510807;
    expect(Math.abs(encodeBt709(joint) - 4.5 * joint)).toBeLessThan(1e-12);
  });

  test('encoding undoes decoding', () => {
    fc.assert(
      fc.property(fc.double({ min: -1, max: 1, noNaN: true }), (value) => {
        expect(Math.abs(encodeBt709(decodeBt709(value)) - value)).toBeLessThan(1e-12);
      }),
      { seed: 2 },
    );
  });
});

test.each(['srgb', 'linear', 'bt709'] as const)('the %s table rises from 0 to 1', (curve) => {
  const table = decodingTable(curve, 65535);
  expect(table).toHaveLength(65536);
  expect(table[0]).toBe(0);
  expect(table[65535]).toBe(1);
  expect(table.every((value, i) => i === 0 || value > table[i - 1]!)).toBe(true);
  expect(decodingTable(curve, 65535)).toBe(table);
});
