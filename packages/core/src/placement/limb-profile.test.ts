import { expect, test } from 'vitest';
import { createPlane, type Plane } from '../compute/image.js';
import { outside } from './fit-disc.js';
import { gatherSectors } from './limb-profile.js';

const DISC = { centreX: 31.3, centreY: 27.8, radiusPx: 20.2, stretch: 0.98 };
const GRID = { from: -2.1, spacing: (2 * Math.PI) / 9, count: 9, insidePx: 6, outsidePx: 5 };

/** A plane whose light is the distance from the disc's edge, and the number of pixels in the grid's reach. */
function drawn(): { plane: Plane; inReach: number } {
  const plane = createPlane(64, 60);
  let inReach = 0;
  for (let i = 0; i < plane.data.length; i++) {
    const off = outside(DISC, i % 64, Math.floor(i / 64));
    plane.data[i] = off;
    if (off >= -GRID.insidePx && off < GRID.outsidePx) inReach++;
  }
  return { plane, inReach };
}

function pixelsOf(sectors: ReturnType<typeof gatherSectors>): number {
  return sectors.reduce((sum, { profile }) => sum + profile.count.reduce((all, n) => all + n, 0), 0);
}

test('every pixel within reach takes part once, at its own distance', () => {
  const { plane, inReach } = drawn();
  const sectors = gatherSectors(plane, undefined, DISC, GRID);
  expect(pixelsOf(sectors)).toBe(inReach);
  for (const { profile, complete } of sectors) {
    // Light is held to 24 bits.
    profile.value.forEach((v, k) => {
      expect(Math.abs(v - profile.distance[k]!)).toBeLessThan(1e-5);
    });
    // 14 px of edge: a border of the pixels is a tenth of them.
    expect(Math.abs(complete - 1)).toBeLessThan(0.15);
  }
});

test('pixels that are no data are left out, and their sector says so', () => {
  const { plane, inReach } = drawn();
  const coverage = { ...plane, data: plane.data.map((_, i) => (i % 64 < 31 ? 0 : 1)) };
  const sectors = gatherSectors(plane, coverage, DISC, { ...GRID, from: Math.PI / 2, spacing: Math.PI, count: 2 });
  expect(sectors[0]!.complete).toBeLessThan(0.05);
  expect(sectors[1]!.complete).toBeGreaterThan(0.9);
  expect(pixelsOf(sectors) / inReach).toBeGreaterThan(0.45);
  expect(pixelsOf(sectors) / inReach).toBeLessThan(0.55);
});

test('clipped pixels inside are counted', () => {
  const { plane } = drawn();
  const bright = { ...plane, data: plane.data.map((off, i) => (off < 0 && i % 2 ? 1 : 0)) };
  for (const { clipped } of gatherSectors(bright, undefined, DISC, GRID))
    expect(Math.abs(clipped - 0.5)).toBeLessThan(0.1);
});
