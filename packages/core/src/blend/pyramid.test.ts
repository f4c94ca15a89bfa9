import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import { expand, fillUncovered, reduce } from './pyramid.js';

const sizes = fc.record({ width: fc.integer({ min: 1, max: 23 }), height: fc.integer({ min: 1, max: 23 }) });
const PARAMETERS = { seed: 17, numRuns: 60 };

describe('reduce and expand', () => {
  it('keep even light even at every size', () => {
    fc.assert(
      fc.property(sizes, ({ width, height }) => {
        const small = reduce(planeOf(width, height, () => 0.7));
        expect([small.width, small.height]).toEqual([Math.ceil(width / 2), Math.ceil(height / 2)]);
        // Five Float32 roundings a direction.
        expectSamples(small.data, new Float32Array(small.data.length).fill(0.7), 5e-7);
        expectSamples(expand(small, width, height).data, new Float32Array(width * height).fill(0.7), 1e-6);
      }),
      PARAMETERS,
    );
  });

  it('put coarse pixel k on fine pixel 2k: a plane stays where it is', () => {
    const slope = planeOf(33, 25, (x, y) => x / 64 + y / 32);
    const small = reduce(slope);
    for (let y = 1; y < 12; y++)
      for (let x = 1; x < 16; x++) expect(small.data[y * 17 + x]).toBeCloseTo((2 * x) / 64 + (2 * y) / 32, 6);
    const again = expand(small, 33, 25);
    for (let y = 4; y < 21; y++)
      for (let x = 4; x < 29; x++) expect(again.data[y * 33 + x]).toBeCloseTo(slope.data[y * 33 + x]!, 6);
  });

  it('spread one coarse pixel over its neighbours by the binomial filter', () => {
    const one = planeOf(5, 5, (x, y) => (x === 2 && y === 2 ? 1 : 0));
    const side = [0, 0, 1, 4, 6, 4, 1, 0, 0];
    // Eighths are exact.
    expectSamples(expand(one, 9, 9).data, planeOf(9, 9, (x, y) => (side[x]! * side[y]!) / 64).data);
  });

  it('take out what is too fine for the coarse grid', () => {
    const { data } = reduce(planeOf(32, 32, (x) => x % 2));
    for (let y = 1; y < 15; y++) for (let x = 1; x < 15; x++) expect(data[y * 16 + x]).toBeCloseTo(0.5, 6);
  });
});

describe('fillUncovered', () => {
  const scene = createSceneField({ seed: 'fill', widthPx: 140, heightPx: 120, sigmaPx: [4, 9] });
  const whole = renderFrame(scene, translation(20, 20), 97, 71);
  const disc = planeOf(97, 71, (x, y) => (Math.hypot(x - 30, y - 36) < 22 ? 1 : 0));
  const cut = planeOf(97, 71, (x, y) => (disc.data[y * 97 + x]! ? whole.data[y * 97 + x]! : 0));

  it('leaves what is covered to the bit, and fills the rest from it', () => {
    const filled = fillUncovered(cut, disc);
    let least = Infinity;
    let most = -Infinity;
    cut.data.forEach((v, i) => {
      if (disc.data[i] === 0) return;
      expect(filled.data[i]).toBe(v);
      least = Math.min(least, v);
      most = Math.max(most, v);
    });
    // Averages of averages stay between the extremes; black would fall below the least.
    for (const v of filled.data) {
      expect(v).toBeGreaterThan(least - 1e-6);
      expect(v).toBeLessThan(most + 1e-6);
    }
  });

  it('goes on without a step at the edge', () => {
    const filled = fillUncovered(cut, disc);
    let step = 0;
    for (let y = 0; y < 71; y++)
      for (let x = 1; x < 97; x++)
        step = Math.max(step, Math.abs(filled.data[y * 97 + x]! - filled.data[y * 97 + x - 1]!));
    // Ground of σ ≥ 4 px changes by up to 0.07 a px; light itself is about 0.25 and reaches 0.9. Measured 0.12.
    expect(step).toBeLessThan(0.16);
  });

  it('does not look at what lies under uncovered pixels', () => {
    const dirty = planeOf(97, 71, (x, y) => (disc.data[y * 97 + x]! ? cut.data[y * 97 + x]! : 1000 * (x - y)));
    expectSamples(fillUncovered(dirty, disc).data, fillUncovered(cut, disc).data);
  });

  it('fills everything from a single pixel, and with 0 from none', () => {
    const one = planeOf(41, 3, (x, y) => (x === 17 && y === 1 ? 1 : 0));
    const light = planeOf(41, 3, () => 0.625);
    expectSamples(fillUncovered(light, one).data, new Float32Array(123).fill(0.625), 1e-6);
    expectSamples(
      fillUncovered(
        light,
        planeOf(41, 3, () => 0),
      ).data,
      new Float32Array(123),
    );
  });
});
