import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { IDENTITY } from './affine.js';
import { bilinearAt, cubicAt } from './sample.js';

const PARAMETERS = { seed: 5, numRuns: 60 };
const coefficient = fc.double({ min: -1, max: 1, noNaN: true });
const inside = fc.double({ min: 1, max: 13.999, noNaN: true });
const anywhere = fc.double({ min: -40, max: 60, noNaN: true });

describe('cubicAt', () => {
  it('gives the pixels themselves at their centres, to the bit, border included', () => {
    const plane = planeOf(6, 5, (x, y) => Math.sin(12.9 * x + 78.2 * y));
    for (let y = 0; y < 5; y++)
      for (let x = 0; x < 6; x++) expect(cubicAt(plane.data, 6, 5, x, y)).toBe(plane.data[y * 6 + x]);
  });

  it('is exact for quadratics away from the border', () => {
    fc.assert(
      fc.property(fc.array(coefficient, { minLength: 6, maxLength: 6 }), inside, inside, (c, x, y) => {
        const of = (u: number, v: number): number =>
          c[0]! + (c[1]! * u + c[2]! * v) / 16 + (c[3]! * u * u + c[4]! * u * v + c[5]! * v * v) / 256;
        const plane = planeOf(16, 16, of);
        // Values up to 6 are stored as Float32 (3e-7) and summed with weights whose sizes add up to less than 1.6.
        expect(Math.abs(cubicAt(plane.data, 16, 16, x, y) - of(x, y))).toBeLessThan(1e-6);
      }),
      PARAMETERS,
    );
  });

  it('keeps even light even anywhere, also outside', () => {
    const plane = planeOf(9, 7, () => 0.7);
    fc.assert(
      fc.property(anywhere, anywhere, (x, y) => {
        // The weights sum to 1 within double rounding; the value is a Float32.
        expect(Math.abs(cubicAt(plane.data, 9, 7, x, y) - plane.data[0]!)).toBeLessThan(1e-14);
      }),
      PARAMETERS,
    );
  });

  it('takes the nearest pixel outside', () => {
    const plane = planeOf(5, 4, (x, y) => x + 10 * y);
    expect(cubicAt(plane.data, 5, 4, -7, 2)).toBe(20);
    expect(cubicAt(plane.data, 5, 4, 11, -5)).toBe(4);
    expect(cubicAt(plane.data, 5, 4, 2, 30)).toBe(32);
  });

  it('follows smooth ground between its pixels far better than linear interpolation', () => {
    const scene = createSceneField({ seed: 'sample', widthPx: 64, heightPx: 64, sigmaPx: [2.5, 5] });
    const { data } = renderFrame(scene, IDENTITY, 64, 64);
    let cubic = 0;
    let linear = 0;
    for (let k = 0; k < 400; k++) {
      const x = 3 + 57 * ((k * 0.618) % 1);
      const y = 3 + 57 * ((k * 0.755) % 1);
      cubic = Math.max(cubic, Math.abs(cubicAt(data, 64, 64, x, y) - scene.at(x, y)));
      linear = Math.max(linear, Math.abs(bilinearAt(data, 64, 64, x, y) - scene.at(x, y)));
    }
    // Measured 8e-4 and 8e-3 of a light of 0.25; third against second order of the pixel over the finest σ.
    expect(cubic).toBeLessThan(2e-3);
    expect(linear).toBeGreaterThan(3 * cubic);
  });
});

describe('bilinearAt', () => {
  it('is exact for planes and for the product term', () => {
    fc.assert(
      fc.property(fc.array(coefficient, { minLength: 4, maxLength: 4 }), inside, inside, (c, x, y) => {
        const of = (u: number, v: number): number => c[0]! + c[1]! * u + c[2]! * v + (c[3]! * u * v) / 16;
        const plane = planeOf(16, 16, of);
        // Values up to 50 as Float32: 2e-6 each.
        expect(Math.abs(bilinearAt(plane.data, 16, 16, x, y) - of(x, y))).toBeLessThan(5e-6);
      }),
      PARAMETERS,
    );
  });

  it('takes the nearest pixel outside, and meets the last pixel at its centre', () => {
    const plane = planeOf(5, 4, (x, y) => x + 10 * y);
    expect(bilinearAt(plane.data, 5, 4, 4, 3)).toBe(34);
    expect(bilinearAt(plane.data, 5, 4, -1, 1.5)).toBe(15);
    expect(bilinearAt(plane.data, 5, 4, 9, 99)).toBe(34);
  });

  it('works on one row, one column and one pixel', () => {
    expect(bilinearAt(Float32Array.of(1, 3), 2, 1, 0.5, 0.9)).toBe(2);
    expect(bilinearAt(Float32Array.of(1, 3), 1, 2, 0.9, 0.5)).toBe(2);
    expect(bilinearAt(Float32Array.of(7), 1, 1, 0.3, -4)).toBe(7);
  });
});
