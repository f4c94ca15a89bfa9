import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { translation } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { registerPair } from './pair.js';
import type { PairOptions, PairPicture } from './pair-types.js';

const SIDE = 128;
const ground = (seed: string, shift = 30): Plane =>
  renderFrame(createSceneField({ seed, widthPx: 220, heightPx: 220 }), translation(shift, 40), SIDE, SIDE);
const blank = (value: number): Plane => planeOf(SIDE, SIDE, () => value);

function noise(seed: string, level = 0.2, sigma = 0.02): Plane {
  const random = createRandom(seed);
  return planeOf(SIDE, SIDE, () => level + sigma * random.normal());
}

describe('registerPair refuses', () => {
  const turned: PairOptions = { freedom: 'similarity', rotationDeg: 5, scaleRange: 1.02 };
  const grounds = Array.from({ length: 6 }, (_, k) => ground(`ground ${k}`));

  it('pictures of different ground, with and without turns to try', () => {
    for (let a = 0; a < 6; a++) {
      for (let b = 0; b < a; b++) {
        const found = registerPair(grounds[a]!, grounds[b]!, (a + b) % 3 === 0 ? turned : {});
        expect(found.placed).toBe(false);
        expect(['NO_OVERLAP', 'AMBIGUOUS', 'UNSTABLE']).toContain(!found.placed && found.reason);
        expect(found.probability).toBeLessThan(0.5);
      }
    }
  });

  it('pure noise', () => {
    for (let k = 0; k < 10; k++) {
      expect(registerPair(noise(`a${k}`), noise(`b${k}`)).placed).toBe(false);
      expect(registerPair(noise(`a${k}`), grounds[k % 6]!).placed).toBe(false);
    }
  });

  it.each([
    ['nothing usable', blank(Number.NaN), 'EMPTY'],
    ['nothing covered', { ...noise('c'), coverage: new Uint8Array(SIDE * SIDE) }, 'EMPTY'],
    ['the same light all over', blank(0.3), 'NO_DETAIL'],
    [
      'few usable pixels',
      { ...noise('d'), coverage: Uint8Array.from({ length: SIDE * SIDE }, (_, i) => +(i < 500)) },
      'TOO_SMALL',
    ],
    ['a size that does not fit', { width: 7, height: 9, data: new Float32Array(5) }, 'BAD_INPUT'],
    ['a tiny picture', { width: 8, height: 8, data: new Float32Array(64) }, 'TOO_SMALL'],
  ])('%s', (_, picture, reason) => {
    expect(registerPair(picture, grounds[0]!)).toMatchObject({ placed: false, reason });
    expect(registerPair(grounds[0]!, picture)).toMatchObject({ placed: false, reason });
  });

  it('a picture that repeats itself, because several shifts fit as well', () => {
    const tile = ground('tile');
    const repeated = planeOf(SIDE, SIDE, (x, y) => tile.data[(y % 32) * SIDE + (x % 32)]!);
    const found = registerPair(repeated, repeated);
    expect(found.placed && Math.hypot(found.shiftXPx, found.shiftYPx) > 1).toBe(false);
    const random = createRandom('tiles');
    const other = { ...repeated, data: repeated.data.map((v) => v + 0.01 * random.normal()) };
    const shifted = planeOf(
      SIDE,
      SIDE,
      (x, y) => tile.data[(y % 32) * SIDE + ((x + 16) % 32)]! + 0.01 * random.normal(),
    );
    expect(registerPair(other, shifted)).toMatchObject({ placed: false, reason: 'AMBIGUOUS' });
  });

  it('options that do not fit together', () => {
    const a = grounds[0]!;
    for (const options of [
      { rotationDeg: 5 },
      { freedom: 'rigid', scaleRange: 1.1 },
      { freedom: 'similarity', scaleRange: 0.5 },
      { minProbability: 1 },
      { expected: { pose: translation(Number.NaN, 0), sigmaPx: 1 } },
      { expected: { pose: translation(0, 0), sigmaPx: 0 } },
    ] as PairOptions[])
      expect(registerPair(a, a, options)).toMatchObject({ placed: false, reason: 'BAD_INPUT' });
  });
});

describe('registerPair on anything', () => {
  const value = fc.oneof(
    fc.double({ noNaN: true, min: -10, max: 10 }),
    fc.constantFrom(0, 1, Number.NaN, Infinity, -Infinity, 3e38, -3e38, 1e-40),
  );
  const picture: fc.Arbitrary<PairPicture> = fc
    .tuple(
      fc.integer({ min: 1, max: 70 }),
      fc.integer({ min: 1, max: 70 }),
      fc.array(value, { minLength: 1, maxLength: 90 }),
      fc.integer(),
    )
    .map(([width, height, values, seed]) => {
      const random = createRandom(seed);
      const data = Float32Array.from(
        { length: width * height },
        () => values[Math.floor(values.length * random.uniform())]!,
      );
      return { width, height, data };
    });
  const options: fc.Arbitrary<PairOptions> = fc.constantFrom<PairOptions>(
    {},
    { freedom: 'squeezed' },
    { freedom: 'similarity', rotationDeg: 4, scaleRange: 1.05 },
    { minProbability: 0 },
  );

  it('gives a pose of finite numbers or a refusal, never an error', () => {
    fc.assert(
      fc.property(picture, picture, options, (fixed, moving, settings) => {
        for (const other of [moving, fixed]) {
          const found = registerPair(fixed, other, settings);
          const numbers: number[] = [];
          JSON.stringify(found, (_, v) => {
            if (typeof v === 'number') numbers.push(v);
            return v;
          });
          expect(numbers.every(Number.isFinite)).toBe(true);
          expect(found.probability).toBeGreaterThanOrEqual(0);
          expect(found.probability).toBeLessThanOrEqual(1);
        }
      }),
      { seed: 7, numRuns: 60 },
    );
  });
});
