import { describe, expect, it } from 'vitest';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { prepareSearchPicture } from './pair-search-picture.js';

/** Rough ground in a box, black outside it. */
function patchOfGround(width: number, height: number, left: number, top: number, side: number): Plane {
  const random = createRandom('ground');
  const rough = createPlane(side, side);
  for (let i = 0; i < rough.data.length; i++) rough.data[i] = random.normal();
  const ground = gaussianBlur(rough, 2);
  const out = createPlane(width, height);
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) out.data[(top + y) * width + left + x] = 0.5 + ground.data[y * side + x]!;
  return out;
}

describe('prepareSearchPicture', () => {
  it('cuts out the lit part and states its features in px of the picture', () => {
    const picture = prepareSearchPicture({ light: patchOfGround(900, 500, 610, 120, 200) });
    expect(picture.features.length).toBeGreaterThan(100);
    // The margin around the lit part is 3 % of it, 4 px of the outline's grid and its blur.
    expect(picture.light.width).toBeGreaterThanOrEqual(200);
    expect(picture.light.width).toBeLessThan(240);
    for (const { x, y } of picture.features) {
      expect(x > 609 && x < 811).toBe(true);
      expect(y > 119 && y < 321).toBe(true);
    }
    const sizes = picture.features.map((f) => f.sigmaPx);
    expect(sizes).toEqual([...sizes].sort((a, b) => a - b));
  });

  it.each([
    ['of its own size', 300, 5],
    ['that is shrunk to the working size', 2400, 40],
  ])('finds blobs where they are in a picture %s', (_, side, sigma) => {
    const light = createPlane(side, side);
    const blobs = [0, 1, 2, 3, 4, 5, 6, 7, 8].map((k) => ({
      x: (side * (25 + 25 * (k % 3) + 0.37 * k)) / 100,
      y: (side * (25 + 25 * Math.floor(k / 3) - 0.23 * k)) / 100,
    }));
    for (let y = side / 10; y < 0.9 * side; y++) {
      for (let x = side / 10; x < 0.9 * side; x++) {
        let value = 0.3;
        for (const b of blobs) value += 0.5 * Math.exp(-((x - b.x) ** 2 + (y - b.y) ** 2) / (2 * sigma * sigma));
        light.data[y * side + x] = value;
      }
    }
    const { features } = prepareSearchPicture({ light });
    for (const b of blobs) {
      const near = features.filter((f) => Math.hypot(f.x - b.x, f.y - b.y) < 3 * sigma);
      const best = near.sort(
        (p, q) => Math.abs(Math.log(p.sigmaPx / sigma)) - Math.abs(Math.log(q.sigmaPx / sigma)),
      )[0]!;
      // Extrema are placed by a parabola to a fifth of the px of their octave, here up to 4 working px wide.
      expect(Math.hypot(best.x - b.x, best.y - b.y)).toBeLessThan(0.15 * sigma);
    }
  });

  it('takes light that is not finite for not covered, and nothing from beside it', () => {
    const light = patchOfGround(400, 400, 50, 50, 300);
    const coverage = createPlane(400, 400);
    for (let y = 0; y < 400; y++) coverage.data.fill(1, y * 400, y * 400 + 200);
    const covered = prepareSearchPicture({ light, coverage });
    const holed = createPlane(400, 400);
    for (let i = 0; i < holed.data.length; i++) holed.data[i] = coverage.data[i] === 1 ? light.data[i]! : Number.NaN;
    expect(prepareSearchPicture({ light: holed })).toEqual(covered);
    expect(covered.features.length).toBeGreaterThan(50);
    // Features stay 8 working px off the edge of the coverage at 199.5.
    expect(Math.max(...covered.features.map((f) => f.x))).toBeLessThan(192);
  });

  it('has no features where there is nothing', () => {
    const noCoverage = { light: patchOfGround(100, 100, 10, 10, 80), coverage: createPlane(100, 100) };
    const full = createPlane(200, 200);
    full.data.fill(1);
    const nothing = [{ light: createPlane(200, 200) }, { light: full }, noCoverage, { light: createPlane(5, 5) }];
    for (const picture of nothing) expect(prepareSearchPicture(picture).features).toEqual([]);
  });

  it('leaves its inputs as they were', () => {
    const light = patchOfGround(200, 200, 20, 20, 150);
    light.data[5] = Number.NaN;
    const before = light.data.slice();
    prepareSearchPicture({ light });
    expect(light.data).toEqual(before);
  });
});
