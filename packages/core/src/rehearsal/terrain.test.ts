import { expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import type { DiscGrid } from './sphere.js';
import { buildTerrain } from './terrain.js';

const grid: DiscGrid = { width: 220, height: 220, centreX: 110, centreY: 110, radiusPx: 100 };

it.each([0, 1, 2])('heights are counted from the mean sphere, where the limb stands, too (seed %i)', (seed) => {
  const { heightKm } = buildTerrain(grid, createRandom(seed));
  let [sum, area, limb, count] = [0, 0, 0, 0];
  for (let i = 0; i < heightKm.length; i++) {
    const r = Math.hypot((i % grid.width) - grid.centreX, Math.floor(i / grid.width) - grid.centreY) / grid.radiusPx;
    if (r < 1) {
      const share = 1 / Math.max(0.05, Math.sqrt(1 - r * r));
      sum += share * heightKm[i]!;
      area += share;
    } else if (r > 1.01 && r < 1.02) {
      limb += heightKm[i]!;
      count++;
    }
  }
  expect(Math.abs(sum / area)).toBeLessThan(0.05);
  expect(Math.abs(limb / count)).toBeLessThan(0.35);
});
