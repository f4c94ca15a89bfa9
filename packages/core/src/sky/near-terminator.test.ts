import { expect, test } from 'vitest';
import { PLAN_DEFAULTS } from '../plan/plan-defaults.js';
import { type FeatureInLight, reliefNearTerminator } from './near-terminator.js';

const tycho: FeatureInLight & { name?: string } = { kind: 'crater', diameterKm: 86, lit: true, terminatorDeg: 12 };

test('near the terminator: in the light up to 12 degrees, the largest first; the same that a plan wishes for', () => {
  const names = (...features: (typeof tycho)[]): (string | undefined)[] =>
    reliefNearTerminator(features).map(({ name }) => name);
  expect(PLAN_DEFAULTS.terminatorWithinDeg).toBe(12);
  expect(
    names(
      { ...tycho, name: 'small', diameterKm: 40, terminatorDeg: 0.1 },
      { ...tycho, name: 'large', diameterKm: 225 },
      { ...tycho, name: 'range', kind: 'montes', diameterKm: 100 },
    ),
  ).toEqual(['large', 'range', 'small']);
  const others: (typeof tycho)[] = [
    { ...tycho, lit: false },
    { ...tycho, terminatorDeg: 12.01 },
    // Where the Sun stands is not known.
    { ...tycho, terminatorDeg: 90 },
    { ...tycho, diameterKm: 39 },
    { ...tycho, kind: 'mare' },
    { ...tycho, kind: 'rima' },
    { ...tycho, kind: 'satellite' },
  ];
  expect(names(...others)).toEqual([]);
});
