import { describe, expect, test } from 'vitest';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom, type Random } from '../compute/random.js';
import { invertSymmetric } from '../compute/small-solve.js';
import { findLimb } from './limb.js';

interface Scene {
  readonly width: number;
  readonly height: number;
  readonly centreX: number;
  readonly centreY: number;
  readonly radiusPx: number;
  readonly stretch: number;
  readonly isMoonlit?: boolean;
  /** Rms reflectance of patches of the ground. */
  readonly patches?: number;
  /** Rms displacement of the edge, px, over 20 px along it. */
  readonly bendsPx?: number;
}

const BLUR_PX = 3 / 2.3548;
const LEVEL = 0.5;
/** SNR 20 at the lit level. */
const NOISE = LEVEL / 20;
/** Finer than the picture by. */
const FINE = 2;
const MARGIN_PX = 8;

/** `degrees` of a limb that bulges to the right, its centre at or beyond the left border. */
function arc(radiusPx: number, degrees: number, more: Partial<Scene> = {}): Scene {
  const half = (degrees * Math.PI) / 360;
  const edge = Math.min(0.85, Math.cos(half)) * radiusPx;
  const height = Math.ceil(2 * radiusPx * Math.sin(half));
  const width = Math.ceil(1.05 * radiusPx - edge);
  return { width, height, centreX: -edge - 0.3, centreY: height / 2 - 0.3, radiusPx, stretch: 1, ...more };
}

/** The blurred disc, finer than the picture, in a band around its limb; Lommel–Seeliger with the Sun at 60 degrees. */
function draw(scene: Scene, random: Random): Plane {
  const { width, height, centreX, centreY, radiusPx, stretch, patches = 0, bendsPx = 0 } = scene;
  const around = Math.ceil(2 * Math.PI * radiusPx);
  const deep = 400;
  const ground = patches > 0 ? smoothNoise(random, around, deep, 3) : undefined;
  const bends = bendsPx > 0 ? smoothNoise(random, around, 1, 8) : undefined;
  const fine = createPlane((width + 2 * MARGIN_PX) * FINE, (height + 2 * MARGIN_PX) * FINE);
  for (let i = 0; i < fine.data.length; i++) {
    const x = (((i % fine.width) - (FINE - 1) / 2) / FINE - MARGIN_PX - centreX) / radiusPx;
    const y = ((Math.floor(i / fine.width) - (FINE - 1) / 2) / FINE - MARGIN_PX - centreY) / (radiusPx * stretch);
    const r = Math.sqrt(x * x + y * y);
    if (r > 1.02) continue;
    const along = Math.floor((Math.atan2(y, x) / (2 * Math.PI) + 0.5) * (around - 1));
    const off = (1 - r) * radiusPx + bendsPx * (bends?.[along] ?? 0);
    const share = Math.min(1, Math.max(0, off * FINE + 0.5));
    const mu = Math.sqrt(Math.max(0, 1 - r * r));
    const sun = x * Math.sin(Math.PI / 3) + mu * Math.cos(Math.PI / 3);
    const depth = Math.min(deep - 1, Math.floor(Math.asin(mu) * radiusPx));
    const light =
      (scene.isMoonlit ? (1.5 * sun) / (sun + mu) : 1) * (1 + patches * (ground?.[depth * around + along] ?? 0));
    fine.data[i] = share * LEVEL * light;
  }
  return gaussianBlur(fine, FINE * BLUR_PX);
}

function smoothNoise(random: Random, width: number, height: number, sigmaPx: number): Float32Array {
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  const { data } = gaussianBlur(plane, sigmaPx);
  const rms = Math.sqrt(data.reduce((sum, v) => sum + v * v, 0) / data.length);
  return data.map((v) => v / rms);
}

function photograph(scene: Scene, fine: Plane, random: Random): Plane {
  const plane = createPlane(scene.width, scene.height);
  for (let i = 0; i < plane.data.length; i++) {
    const at = FINE * ((Math.floor(i / scene.width) + MARGIN_PX) * fine.width + (i % scene.width) + MARGIN_PX);
    let sum = 0;
    for (let v = 0; v < FINE; v++) for (let u = 0; u < FINE; u++) sum += fine.data[at + v * fine.width + u]!;
    plane.data[i] = sum / FINE ** 2 + 0.02 + NOISE * random.normal();
  }
  return plane;
}

/** Rms errors of (centreX, centreY, radiusPx, stretch) and eᵀ·C⁻¹·e per unknown over many noises. */
function measure(name: string, scene: Scene, trials: number, stretch = false): { rms: number[]; normalised: number } {
  const unknowns = stretch ? 4 : 3;
  const squares = new Array<number>(unknowns).fill(0);
  let normalised = 0;
  const isDisturbed = scene.patches !== undefined || scene.bendsPx !== undefined;
  const plain = draw(scene, createRandom(name));
  for (let trial = 0; trial < trials; trial++) {
    const random = createRandom(`${name} ${trial}`);
    const fit = findLimb(photograph(scene, isDisturbed ? draw(scene, random) : plain, random), undefined, { stretch })!;
    const e = (['centreX', 'centreY', 'radiusPx', 'stretch'] as const).slice(0, unknowns).map((n) => fit[n] - scene[n]);
    const precision = invertSymmetric(Float64Array.from(fit.covariance), unknowns)!;
    e.forEach((v, i) => {
      squares[i]! += (v * v) / trials;
      e.forEach((w, j) => {
        normalised += (v * w * precision[unknowns * i + j]!) / (unknowns * trials);
      });
    });
  }
  return { rms: squares.map(Math.sqrt), normalised };
}

describe('60 degrees at SNR 20, blur FWHM 3 px', () => {
  // Cramér–Rao bounds of centre x with all else known, by bench/limb.mjs; 24 trials give the rms to 15 % at one sigma.
  test.each([
    ['flat', 800, false, 0.094],
    ['moonlit', 500, true, 0.086],
    ['moonlit', 800, true, 0.068],
  ])('%s, radius %i px: errors near the bound', (name, radiusPx, isMoonlit, boundPx) => {
    const { rms, normalised } = measure(name, arc(radiusPx, 60, { isMoonlit }), 24);
    expect(rms[0]!).toBeLessThan(1.4 * boundPx);
    expect(rms[1]!).toBeLessThan(0.04);
    expect(rms[2]!).toBeLessThan(1.4 * boundPx);
    expect(normalised).toBeGreaterThan(0.6);
    expect(normalised).toBeLessThan(1.4);
  });
});

test('opposite arcs leave no doubt: 0.03 px', () => {
  const scene = { width: 572, height: 260, centreX: 285.7, centreY: 130.2, radiusPx: 260.4, stretch: 1 };
  const { rms, normalised } = measure('two arcs', scene, 8);
  for (const v of rms) expect(v).toBeLessThan(0.03);
  expect(normalised).toBeLessThan(2);
});

test('120 degrees of a disc squeezed by 0.998: the covariance knows what the arc does not tell', () => {
  const { rms, normalised } = measure('squeezed', arc(600, 120, { stretch: 0.998, isMoonlit: true }), 12, true);
  // A quarter of the squeeze; centre and radius are bound to it by a third of a radius.
  expect(rms[3]!).toBeLessThan(6e-4);
  expect(rms[0]!).toBeLessThan(0.5);
  expect(rms[1]!).toBeLessThan(0.04);
  expect(normalised).toBeGreaterThan(0.5);
  expect(normalised).toBeLessThan(1.7);
});

test('ground with patches and an edge bent by the air: wider errors, and a covariance that says so', () => {
  const { rms, normalised } = measure('rough', arc(500, 60, { isMoonlit: true, patches: 0.15, bendsPx: 0.2 }), 12);
  expect(rms[1]!).toBeLessThan(0.4);
  expect(normalised).toBeGreaterThan(0.4);
  expect(normalised).toBeLessThan(1.8);
});
