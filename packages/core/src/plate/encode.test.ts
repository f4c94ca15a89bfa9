import fc from 'fast-check';
import { expect, test } from 'vitest';
import { decodeSrgb, encodeSrgb } from '../capture/curves.js';
import { encode16, encodeSrgb8 } from './encode.js';

function encode(values: readonly number[]): { codes: number[]; low: number; high: number } {
  const codes = new Uint16Array(values.length);
  const clips = { low: 0, high: 0 };
  encode16('srgb', codes, 0, 1, Float32Array.from(values), 0, values.length, clips);
  return { codes: [...codes], ...clips };
}

test('every code comes back from its own linear light', () => {
  const linear = Array.from({ length: 65536 }, (_, code) => decodeSrgb(code / 65535));
  expect(encode(linear)).toEqual({ codes: Array.from({ length: 65536 }, (_, code) => code), low: 0, high: 0 });
});

test('rounding agrees with the formula for any float', () => {
  fc.assert(
    fc.property(fc.float({ min: 0, max: 1, noNaN: true }), (value) => {
      const exact = 65535 * encodeSrgb(value);
      const [code] = encode([value]).codes;
      // Where the formula itself comes within its own rounding of a half, either neighbour is right.
      if (Math.abs((exact % 1) - 0.5) > 1e-9) expect(code).toBe(Math.round(exact));
    }),
    { seed: 4, numRuns: 20_000 },
  );
});

test('codes never fall as light rises, even between neighbouring floats', () => {
  const start = new Uint32Array(Float32Array.of(0.2).buffer)[0]!;
  const floats = new Float32Array(Uint32Array.from({ length: 100_000 }, (_, i) => start + i).buffer);
  const { codes } = encode([...floats]);
  expect(codes.every((code, i) => i === 0 || code - codes[i - 1]! <= 1)).toBe(true);
  expect(codes.every((code, i) => i === 0 || code >= codes[i - 1]!)).toBe(true);
});

test('what lies outside is clipped and counted', () => {
  const values = [-0.1, 0, 1e-30, 1, 1.0000001, Number.POSITIVE_INFINITY, Number.NaN, Number.NEGATIVE_INFINITY];
  expect(encode(values)).toEqual({ codes: [0, 0, 0, 65535, 65535, 65535, 0, 0], low: 3, high: 2 });
});

test('stride and offsets', () => {
  const codes = new Uint16Array(8);
  encode16('srgb', codes, 1, 4, Float32Array.of(9, 1, 0.5, 9), 1, 2, { low: 0, high: 0 });
  expect([...codes]).toEqual([0, 65535, 0, 0, 0, Math.round(65535 * encodeSrgb(0.5)), 0, 0]);
});

test('8 bits', () => {
  expect([-1, 0, 0.5, 1, 2].map(encodeSrgb8)).toEqual([0, 0, 188, 255, 255]);
});
