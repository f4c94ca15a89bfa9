import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { groundAt, MAP_PROJECTIONS, mapGrid, onGrid } from './map-grid.js';

describe.each(MAP_PROJECTIONS)('a %s grid', (projection) => {
  const grid = mapGrid(projection, 1737.4, 3);

  test('gives every point of the near side back', () => {
    const point = fc.record({
      longitudeDeg: fc.double({ min: -89.5, max: 89.5, noNaN: true }),
      latitudeDeg: fc.double({ min: -89, max: 89, noNaN: true }),
    });
    fc.assert(
      fc.property(point, (given) => {
        const { x, y } = onGrid(grid, given)!;
        const back = groundAt(grid, x, y)!;
        expect(back.longitudeDeg).toBeCloseTo(given.longitudeDeg, 6);
        expect(back.latitudeDeg).toBeCloseTo(given.latitudeDeg, 6);
      }),
      { seed: 6 },
    );
  });

  test('has its middle between its middle pixels, and whole pixels', () => {
    expect(onGrid(grid, { longitudeDeg: 0, latitudeDeg: 0 })).toEqual({
      x: grid.width / 2 - 0.5,
      y: grid.height / 2 - 0.5,
    });
    expect(-grid.leftM).toBeCloseTo((grid.width / 2) * grid.pixelM, 6);
  });
});

test('an orthographic grid has no far side', () => {
  const grid = mapGrid('orthographic', 1737.4, 3);
  expect(onGrid(grid, { longitudeDeg: 120, latitudeDeg: 0 })).toBeNull();
  expect(groundAt(grid, 0, 0)).toBeNull();
});
