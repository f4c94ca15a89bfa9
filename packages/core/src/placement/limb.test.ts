import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { binPlane } from '../compute/downsample.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom, type Random } from '../compute/random.js';
import { invertSymmetric } from '../compute/small-solve.js';
import { findLimb, type LimbFit } from './limb.js';

interface Scene {
  readonly width: number;
  readonly height: number;
  readonly centreX: number;
  readonly centreY: number;
  readonly radiusPx: number;
  readonly stretch?: number;
  readonly blurPx?: number;
  /** Light at a place of the unit disc: x right, y down, mu the cosine of emission. */
  readonly light?: (x: number, y: number, mu: number) => number;
  /** How far the edge stands out at a position angle, px. */
  readonly reliefPx?: (angle: number) => number;
}

/** Blur FWHM of 3 px. */
const BLUR_PX = 3 / 2.3548;
const LEVEL = 0.5;
/** SNR 20 at the lit level. */
const NOISE = LEVEL / 20;

/** Drawn around the picture and cut off, so that the blur sees no border. */
const MARGIN_PX = 8;

/** Area samples of a blurred disc: an antialiased disc on a three times finer grid, blurred, then averaged. */
function draw(scene: Scene): Plane {
  const { width, height, radiusPx, stretch = 1, blurPx = BLUR_PX, reliefPx } = scene;
  const centreX = scene.centreX + MARGIN_PX;
  const centreY = scene.centreY + MARGIN_PX;
  const light = scene.light ?? (() => LEVEL);
  const fine = createPlane((width + 2 * MARGIN_PX) * 3, (height + 2 * MARGIN_PX) * 3);
  for (let j = 0; j < fine.height; j++) {
    for (let i = 0; i < fine.width; i++) {
      const x = ((i - 1) / 3 - centreX) / radiusPx;
      const y = ((j - 1) / 3 - centreY) / (radiusPx * stretch);
      const r = Math.sqrt(x * x + y * y);
      const edge = radiusPx + (reliefPx && Math.abs(r - 1) < 0.1 ? reliefPx(Math.atan2(y, x)) : 0);
      const share = Math.min(1, Math.max(0, (edge - r * radiusPx) * 3 + 0.5));
      if (share > 0) fine.data[j * fine.width + i] = share * light(x, y, Math.sqrt(Math.max(0, 1 - r * r)));
    }
  }
  const whole = binPlane(gaussianBlur(fine, 3 * blurPx), 3);
  const plane = createPlane(width, height);
  for (let y = 0; y < height; y++) {
    const from = (y + MARGIN_PX) * whole.width + MARGIN_PX;
    plane.data.set(whole.data.subarray(from, from + width), y * width);
  }
  return plane;
}

/** Lommel–Seeliger light with the Sun at a phase angle, towards a position angle (radians, +x towards +y). */
function moonlight(phase: number, towards: number): (x: number, y: number, mu: number) => number {
  const [sx, sy, sz] = [Math.sin(phase) * Math.cos(towards), Math.sin(phase) * Math.sin(towards), Math.cos(phase)];
  return (x, y, mu) => {
    const sun = x * sx + y * sy + mu * sz;
    return sun <= 0 ? 0 : (LEVEL * sun) / (sun + mu);
  };
}

function noisy(plane: Plane, random: Random, sky: (x: number, y: number) => number = () => 0.02, sigma = NOISE): Plane {
  const data = plane.data.map(
    (v, i) => v + sky(i % plane.width, Math.floor(i / plane.width)) + sigma * random.normal(),
  );
  return { width: plane.width, height: plane.height, data };
}

function errorsOf(fit: LimbFit, scene: Scene): number[] {
  return [fit.centreX - scene.centreX, fit.centreY - scene.centreY, fit.radiusPx - scene.radiusPx];
}

/** eᵀ C⁻¹ e per unknown: 1 on average when the covariance tells the truth. */
function normalisedSquare(fit: LimbFit, scene: Scene): number {
  const e = errorsOf(fit, scene);
  const precision = invertSymmetric(Float64Array.from(fit.covariance), 3)!;
  return e.reduce((sum, v, i) => sum + v * e.reduce((row, w, j) => row + precision[3 * i + j]! * w, 0), 0) / 3;
}

const WHOLE: Scene = { width: 400, height: 360, centreX: 201.3, centreY: 178.6, radiusPx: 150.4 };
/** 60 degrees of a disc whose centre lies outside the picture. */
const ARC: Scene = { width: 300, height: 510, centreX: -300.3, centreY: 255.2, radiusPx: 500.3 };

describe('accuracy at SNR 20, blur FWHM 3 px', () => {
  test('whole discs anywhere, at any sky level: 0.1 px', () => {
    fc.assert(
      fc.property(
        fc.record({
          x: fc.double({ min: 118, max: 140, noNaN: true }),
          y: fc.double({ min: 110, max: 124, noNaN: true }),
        }),
        fc.double({ min: 60, max: 100, noNaN: true }),
        fc.constantFrom(0, 0.1, 0.45),
        fc.integer(),
        ({ x, y }, radiusPx, sky, seed) => {
          const scene = { width: 258, height: 234, centreX: x, centreY: y, radiusPx };
          const fit = findLimb(noisy(draw(scene), createRandom(seed), () => sky))!;
          for (const e of errorsOf(fit, scene)) expect(Math.abs(e)).toBeLessThan(0.1);
          expect(fit.arcDeg).toBeGreaterThan(330);
        },
      ),
      { numRuns: 12, seed: 5 },
    );
  });

  test.each([
    ['evenly lit', () => LEVEL],
    ['half Moon', moonlight(Math.PI / 2, 0)],
    ['Sun', (_x: number, _y: number, mu: number) => LEVEL * (0.35 + 0.65 * mu)],
  ])('%s: rms of centre and radius below 0.1 px', (_name, light) => {
    const scene = { ...WHOLE, light };
    const clean = draw(scene);
    const squares = [0, 0, 0];
    for (let trial = 0; trial < 8; trial++) {
      const fit = findLimb(noisy(clean, createRandom(trial)))!;
      errorsOf(fit, scene).forEach((e, i) => {
        squares[i]! += (e * e) / 8;
      });
    }
    for (const square of squares) expect(Math.sqrt(square)).toBeLessThan(0.1);
  });

  test.each([
    ['evenly lit', 50, () => LEVEL],
    ['half Moon', 50, moonlight(Math.PI / 2, 0)],
  ])('60 degrees, %s: 0.1 px along the arc, and a truthful covariance', (_name, trials, light) => {
    const scene = { ...ARC, light };
    const clean = draw(scene);
    let along = 0;
    let normalised = 0;
    for (let trial = 0; trial < trials; trial++) {
      const fit = findLimb(noisy(clean, createRandom(`arc ${trial}`)))!;
      const [dx, , dr] = errorsOf(fit, scene);
      along += (dx! + dr!) ** 2 / trials;
      normalised += normalisedSquare(fit, scene) / trials;
      expect(fit.arcDeg).toBeGreaterThan(50);
    }
    expect(Math.sqrt(along)).toBeLessThan(0.1);
    // 2.6 standard deviations of the mean of 50 trials in three unknowns.
    expect(normalised).toBeGreaterThan(0.7);
    expect(normalised).toBeLessThan(1.3);
  });

  test('a vertical stretch is found to 5e-4 when asked for', () => {
    const scene = { ...WHOLE, stretch: 0.99 };
    const fit = findLimb(noisy(draw(scene), createRandom(1)), undefined, { stretch: true })!;
    expect(Math.abs(fit.stretch - 0.99)).toBeLessThan(5e-4);
    expect(fit.covariance).toHaveLength(16);
    for (const e of errorsOf(fit, scene)) expect(Math.abs(e)).toBeLessThan(0.1);
  });
});

describe('disturbances', () => {
  const scene = { ...WHOLE, light: moonlight(1.2, -0.9) };
  const clean = draw(scene);

  test('dusk with a gradient, vignetting, dust and hot pixels: 0.2 px', () => {
    const random = createRandom('dusk');
    const plane = noisy(clean, random, (x, y) => 0.25 + (0.15 * x) / 400 + (0.05 * y) / 360);
    for (let i = 0; i < plane.data.length; i++) {
      const x = i % 400;
      const y = Math.floor(i / 400);
      plane.data[i]! *= 1 - 0.35 * (((x - 200) / 270) ** 2 + ((y - 180) / 270) ** 2);
      if (Math.hypot(x - 340, y - 120) < 9) plane.data[i]! *= 0.85;
      if (random.uniform() < 2e-4) plane.data[i] = 1;
    }
    for (const e of errorsOf(findLimb(plane)!, scene)) expect(Math.abs(e)).toBeLessThan(0.2);
  });

  test('relief and warps of 1 px cost little', () => {
    const random = createRandom('relief');
    const bumps = Array.from({ length: 360 }, () => random.normal());
    const rough = {
      ...scene,
      reliefPx: (angle: number) => bumps[Math.floor(((angle / Math.PI + 1) / 2) * 360) % 360]!,
    };
    const fit = findLimb(noisy(draw(rough), random))!;
    // 90 bumps over half a circle leave 0.25 px of the centre at one sigma.
    for (const e of errorsOf(fit, scene)) expect(Math.abs(e)).toBeLessThan(0.75);
  });

  test('gaps in the data, NaN or zero, change nothing but the noise', () => {
    const plane = noisy(clean, createRandom(3));
    const coverage = createPlane(400, 360);
    for (let i = 0; i < plane.data.length; i++) {
      const hole = (Math.floor(i / 400) >> 6) % 3 === 1 && ((i % 400) >> 6) % 3 === 1;
      coverage.data[i] = hole ? 0 : 1;
      if (hole) plane.data[i] = i % 2 ? Number.NaN : 0;
    }
    for (const e of errorsOf(findLimb(plane, coverage)!, scene)) expect(Math.abs(e)).toBeLessThan(0.2);
  });

  test('a mirrored picture gives the mirrored disc', () => {
    const plane = noisy(clean, createRandom(4));
    const mirrored = createPlane(400, 360);
    for (let i = 0; i < plane.data.length; i++) mirrored.data[i - 2 * (i % 400) + 399] = plane.data[i]!;
    const [a, b] = [findLimb(plane)!, findLimb(mirrored)!];
    // Places lie elsewhere along the limb, so they see other noise.
    expect(Math.abs(399 - b.centreX - a.centreX)).toBeLessThan(0.1);
    expect(Math.abs(b.radiusPx - a.radiusPx)).toBeLessThan(0.1);
  });

  test('inputs stay as they are, and the result is the same each time', () => {
    const plane = noisy(clean, createRandom(5));
    const before = plane.data.slice();
    const first = findLimb(plane);
    expect(plane.data).toEqual(before);
    expect(findLimb(plane)).toEqual(first);
  });
});

test('a small disc in a large picture is found', () => {
  const scene = { width: 230, height: 230, centreX: 114.25, centreY: 115.75, radiusPx: 100.4 };
  const disc = draw(scene);
  const large = createPlane(2000, 1300);
  for (let y = 0; y < 230; y++) large.data.set(disc.data.subarray(y * 230, y * 230 + 230), (y + 700) * 2000 + 1500);
  const fit = findLimb(noisy(large, createRandom(6), (x) => 0.1 + x / 10000))!;
  expect(Math.abs(fit.centreX - 1614.25)).toBeLessThan(0.1);
  expect(Math.abs(fit.centreY - 815.75)).toBeLessThan(0.1);
  expect(Math.abs(fit.radiusPx - 100.4)).toBeLessThan(0.1);
});

describe('no limb', () => {
  const empty = createPlane(300, 200);
  const inside = draw({ width: 300, height: 200, centreX: 150, centreY: 100, radiusPx: 400 });
  test.each([
    ['a constant', empty, undefined],
    ['five pixels', createPlane(5, 1), undefined],
    ['noise', noisy(empty, createRandom(7)), undefined],
    ['the inside of the disc', noisy(inside, createRandom(8)), undefined],
    ['nothing but gaps', inside, empty],
  ])('%s gives null', (_name, plane, coverage) => {
    expect(findLimb(plane, coverage)).toBeNull();
  });

  test('a round edge of the data is no limb', () => {
    const plane = noisy(inside, createRandom(9));
    const coverage = createPlane(300, 200);
    for (let i = 0; i < coverage.data.length; i++) {
      const covered = Math.hypot((i % 300) - 150, Math.floor(i / 300) - 100) < 90;
      coverage.data[i] = covered ? 1 : 0;
      if (!covered) plane.data[i] = 0;
    }
    const soft = gaussianBlur(plane, 1);
    expect(findLimb(soft)).not.toBeNull();
    expect(findLimb(soft, coverage)).toBeNull();
  });

  test('a clipped blob is refused', () => {
    const blob = draw({ ...WHOLE, light: () => 3 });
    const clipped = { ...blob, data: blob.data.map((v) => Math.min(1, v)) };
    expect(findLimb(clipped)).toBeNull();
  });
});
