import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createComplexField, fft2 } from './fft.js';
import { createPlane, type Plane } from './image.js';
import { phaseCorrelation } from './kernels-correlate.js';
import { blurWithKernels } from './kernels-filter.js';
import { createRandom } from './random.js';

function noise(width: number, height: number, seed: number): Plane {
  const random = createRandom(seed);
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  return plane;
}

/** The same in double precision, straight from the definition. */
function plainSurface(a: Plane, b: Plane, width: number, height: number, whitening: 'none' | 'half' | 'full') {
  const spectrum = (plane: Plane) => {
    const field = createComplexField(width, height);
    for (let y = 0; y < plane.height; y++)
      for (let x = 0; x < plane.width; x++) field.re[y * width + x] = plane.data[y * plane.width + x]!;
    fft2(field, 'forward');
    return field;
  };
  const [p, q, out] = [spectrum(a), spectrum(b), createComplexField(width, height)];
  const n = width * height;
  let [mean, pa, pb, pab] = [0, 0, 0, 0];
  for (let k = 0; k < n; k++) {
    const fx = Math.min(k % width, width - (k % width)) / width;
    const fy = Math.min(Math.floor(k / width), height - Math.floor(k / width)) / height;
    const band = Math.exp(-(fx * fx + fy * fy) / (2 * 0.12 ** 2));
    out.re[k] = band * (p.re[k]! * q.re[k]! + p.im[k]! * q.im[k]!);
    out.im[k] = band * (p.im[k]! * q.re[k]! - p.re[k]! * q.im[k]!);
    mean += Math.hypot(out.re[k]!, out.im[k]!) / n;
    const [ea, eb] = [p.re[k]! ** 2 + p.im[k]! ** 2, q.re[k]! ** 2 + q.im[k]! ** 2];
    pa += ea;
    pb += eb;
    pab += ea * eb;
  }
  for (let k = 0; k < n; k++) {
    const size = Math.hypot(out.re[k]!, out.im[k]!) + 0.02 * mean;
    const weight = whitening === 'none' ? 1 : whitening === 'half' ? Math.sqrt(size) : size;
    out.re[k]! /= weight;
    out.im[k]! /= weight;
  }
  fft2(out, 'inverse');
  return { data: out.re, sampleAreaPx: Math.max(1, (n * pab) / (pa * pb)) };
}

describe('phaseCorrelation', () => {
  test.each(['none', 'half', 'full'] as const)('agrees with its definition, whitening %s', (whitening) => {
    const a = blurWithKernels(noise(60, 45, 1), 1);
    const b = blurWithKernels(noise(50, 61, 2), 1.5);
    const ours = phaseCorrelation(a, b, { width: 128, height: 128, whitening });
    const plain = plainSurface(a, b, 128, 128, whitening);
    const peak = plain.data.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
    // Float32 spectra; unrelated pictures, so that the peak is only a few times the rest.
    for (let i = 0; i < plain.data.length; i++)
      expect(Math.abs(ours.data[i]! - plain.data[i]!) / peak).toBeLessThan(5e-6);
    expect(Math.abs(ours.sampleAreaPx / plain.sampleAreaPx - 1)).toBeLessThan(1e-6);
  });

  test('peaks at the shift that brings the second picture onto the first', () => {
    const scene = blurWithKernels(noise(120, 120, 3), 1);
    const cut = (x0: number, y0: number): Plane => {
      const plane = createPlane(70, 70);
      for (let i = 0; i < plane.data.length; i++)
        plane.data[i] = scene.data[(y0 + Math.floor(i / 70)) * 120 + x0 + (i % 70)]!;
      return plane;
    };
    fc.assert(
      fc.property(fc.integer({ min: -25, max: 25 }), fc.integer({ min: -25, max: 25 }), (dx, dy) => {
        const { data } = phaseCorrelation(cut(25, 25), cut(25 + dx, 25 + dy), { width: 150, height: 144 });
        const best = data.indexOf(data.reduce((most, v) => Math.max(most, v), 0));
        expect([best % 150, Math.floor(best / 150)]).toEqual([(dx + 150) % 150, (dy + 144) % 144]);
      }),
      { seed: 7, numRuns: 30 },
    );
  });

  test('refuses a transform that is smaller than a picture', () => {
    expect(() => phaseCorrelation(noise(40, 20, 1), noise(20, 20, 1), { width: 32, height: 32 })).toThrow(RangeError);
  });
});
