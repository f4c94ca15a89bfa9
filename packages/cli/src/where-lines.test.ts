import type { StitchResult } from '@plenilune/core';
import { expect, test } from 'vitest';
import { whereLines } from './where-lines.js';

test('an angle that rounds to nothing has no minus', () => {
  const where = {
    ...{ known: true, body: 'Moon', axisDeg: -0.004, axisSigmaDeg: 0.02, kmPerPx: 3.1, arcsecPerPx: null },
    ...{ colongitudeDeg: 42.25, subObserver: { longitudeDeg: -2.24, latitudeDeg: -0.04 }, features: [] },
    ...{ notes: [], from: 'sky' },
  };
  expect(whereLines(where as unknown as StitchResult['where'])).toEqual([
    'Lunar north lies +0.00° from up (± 0.02°), 3.100 km a px, told by the sky.',
    'Libration -2.2° in longitude, +0.0° in latitude, colongitude 42.3°.',
  ]);
});

test('near the terminator are the largest in low light that the plate shows', () => {
  const feature = { kind: 'crater', diameterKm: 60, lit: true, terminatorDeg: 5, covered: true };
  const features = [
    { ...feature, name: 'Dark', lit: false },
    { ...feature, name: 'High', terminatorDeg: 30 },
    { ...feature, name: 'Hidden', covered: false },
    { ...feature, name: 'Small', diameterKm: 41 },
    { ...feature, name: 'Great', diameterKm: 200 },
  ];
  const where = {
    ...{ known: true, body: 'Moon', axisDeg: 0, axisSigmaDeg: 0.02, kmPerPx: 3.1, arcsecPerPx: null, notes: [] },
    ...{ colongitudeDeg: 42.25, subObserver: { longitudeDeg: -2.24, latitudeDeg: -0.04 }, features, from: 'sky' },
  };
  expect(whereLines(where as unknown as StitchResult['where']).at(-1)).toBe('Near the terminator: Great, Small.');
});
