import fc from 'fast-check';
import { expect, test } from 'vitest';
import { editDistance, nearestName } from './settings-nearest.js';

const NAMES = ['latitudeDeg', 'longitudeDeg', 'heightM', 'timeZone', 'focalLengthMm'];

test.each([
  ['latitude', 'latitudeDeg'],
  ['latitudedeg', 'latitudeDeg'],
  ['longitudDeg', 'longitudeDeg'],
  ['focal_length_mm', 'focalLengthMm'],
  ['focalLength', 'focalLengthMm'],
  ['height', 'heightM'],
  ['timezone', 'timeZone'],
  ['tmieZone', 'timeZone'],
  ['colour', undefined],
  ['', undefined],
  ['x'.repeat(5000), undefined],
])('%s -> %s', (written, name) => {
  expect(nearestName(written, NAMES)).toBe(name);
});

test('of two names that begin alike, the one that less is missing of', () => {
  expect(nearestName('--crop-form', ['--crop', '--crop-format'])).toBe('--crop-format');
  expect(nearestName('--north', ['--north-up-always', '--north-up'])).toBe('--north-up');
});

test('the distance is one for one edit, and the same both ways', () => {
  expect(editDistance('srgb', 'srbg')).toBe(1);
  expect(editDistance('linear', 'liner')).toBe(1);
  expect(editDistance('pq', 'hlg')).toBe(3);
  fc.assert(
    fc.property(fc.string({ maxLength: 12 }), fc.string({ maxLength: 12 }), (a, b) => {
      expect(editDistance(a, b)).toBe(editDistance(b, a));
      expect(editDistance(a, b) === 0).toBe(a === b);
      expect(editDistance(a, b)).toBeGreaterThanOrEqual(Math.abs(a.length - b.length));
      expect(editDistance(a, b)).toBeLessThanOrEqual(Math.max(a.length, b.length));
    }),
    { seed: 5 },
  );
});
