import { describe, expect, it } from 'vitest';
import { createSceneField, poseDistancePx, renderFrame } from '../../test/scene-field.js';
import { type Affine, compose, IDENTITY, invert, poseAbout, translation } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { registerPair } from './pair.js';
import { shiftBound } from './pair-bound.js';
import type { PairFreedom, PairOptions, PairPlaced } from './pair-types.js';

const SIDE = 160;
const scene = createSceneField({ seed: 'pair', widthPx: 420, heightPx: 420, contrast: 0.45 });
const base = translation(130, 130);
const middle = { x: (SIDE - 1) / 2, y: (SIDE - 1) / 2 };
const view = (pose: Affine, side = SIDE): Plane => renderFrame(scene, compose(base, pose), side, side);
const fixedClean = view(IDENTITY);
const contrast = contrastOf(fixedClean);
const mean = fixedClean.data.reduce((sum, v) => sum + v, 0) / fixedClean.data.length;

function contrastOf({ data }: Plane): number {
  const mean = data.reduce((sum, v) => sum + v, 0) / data.length;
  return Math.sqrt(data.reduce((sum, v) => sum + (v - mean) ** 2, 0) / data.length);
}

function noisy(plane: Plane, sigma: number, seed: string, gains?: Float32Array): Plane {
  const random = createRandom(seed);
  return { ...plane, data: plane.data.map((v, i) => v * (gains ? gains[i]! : 1) + sigma * random.normal()) };
}

/** Bound of the parameters over the overlap, from differences of the scene itself. */
function boundFor(truth: Affine, sigma: number, freedom: PairFreedom, centre?: { x: number; y: number }): number[] {
  const back = invert(truth);
  const gradientX = new Float32Array(SIDE * SIDE);
  const gradientY = new Float32Array(SIDE * SIDE);
  for (let y = 0; y < SIDE; y++) {
    for (let x = 0; x < SIDE; x++) {
      const mx = back.xx * x + back.xy * y + back.tx;
      const my = back.yx * x + back.yy * y + back.ty;
      if (mx < 0 || my < 0 || mx > SIDE - 1 || my > SIDE - 1) continue;
      const at = (u: number, v: number): number => scene.at(130 + u, 130 + v);
      gradientX[y * SIDE + x] = (at(x + 0.1, y) - at(x - 0.1, y)) / 0.2;
      gradientY[y * SIDE + x] = (at(x, y + 0.1) - at(x, y - 0.1)) / 0.2;
    }
  }
  const noise = { sigmaFixed: sigma, sigmaMoving: sigma };
  const about = centre ? { centre } : {};
  const bound = shiftBound({ width: SIDE, height: SIDE, gradientX, gradientY, ...noise, freedom, ...about })!;
  return bound.parameters.map((_, j) => bound.matrix[j * bound.parameters.length + j]!);
}

interface Row {
  readonly snr: number;
  readonly poses: readonly Affine[];
  readonly options?: PairOptions;
  readonly pattern?: number;
  /** Of each pose. */
  readonly trials: number;
}

/** Rms over bound of each parameter, and the mean of eᵀC⁻¹e per degree of freedom over the two shifts. */
function measure(row: Row): { ratios: number[]; nees: number } {
  const sigma = contrast / row.snr;
  const freedom = row.options?.freedom ?? 'shift';
  const size = { shift: 2, rigid: 3, similarity: 4, squeezed: 5 }[freedom];
  const squares = new Array<number>(size).fill(0);
  const bounds = new Array<number>(size).fill(0);
  let nees = 0;
  for (const [p, pose] of row.poses.entries()) {
    const movingClean = view(pose);
    for (let k = 0; k < row.trials; k++) {
      const random = createRandom(`pattern/${p}/${k}`);
      const gains = row.pattern
        ? Float32Array.from(fixedClean.data, () => 1 + row.pattern! * random.normal())
        : undefined;
      const fixed = noisy(fixedClean, sigma, `a/${p}/${k}`, gains);
      const moving = noisy(movingClean, sigma, `b/${p}/${k}`, gains);
      const found = registerPair(fixed, moving, row.options) as PairPlaced;
      expect(found).toMatchObject({ placed: true });
      const { x, y } = found.centre;
      const at = { x: pose.xx * x + pose.xy * y + pose.tx, y: pose.yx * x + pose.yy * y + pose.ty };
      const errors = [found.shiftXPx - (at.x - x), found.shiftYPx - (at.y - y)];
      if (size > 2) errors.push(found.rotationDeg - (Math.atan2(pose.yx, pose.xx) * 180) / Math.PI);
      if (size > 3) errors.push(found.scale - Math.hypot(pose.xx, pose.yx));
      boundFor(pose, sigma, freedom, at).forEach((v, j) => {
        squares[j]! += errors[j]! ** 2;
        bounds[j]! += v;
      });
      const n = found.covariance.parameters.length;
      const [a, b, d] = [0, 1, n + 1].map((i) => found.covariance.matrix[i]!) as [number, number, number];
      const [ex, ey] = errors as [number, number];
      nees += (ex * ex * d - 2 * ex * ey * b + ey * ey * a) / (a * d - b * b) / 2;
    }
  }
  const joined = Math.sqrt((squares[0]! + squares[1]!) / (bounds[0]! + bounds[1]!));
  const rest = squares.slice(2).map((v, j) => Math.sqrt(v / bounds[j + 2]!));
  return { ratios: [joined, ...rest], nees: nees / (row.poses.length * row.trials) };
}

const near = [translation(1.37, -2.81), translation(-2.46, 0.59), translation(0.23, 3.72)];

describe('registerPair against the Cramér–Rao bound', () => {
  // The bars of the benchmark. The mean of 36 squared errors scatters by 17 % about its expectation, NEES by 24 %.
  it.each([
    ['SNR 100', { snr: 100, poses: near, trials: 6 }, 1.2],
    ['SNR 30', { snr: 30, poses: near, trials: 6 }, 1.2],
    ['SNR 10', { snr: 10, poses: near, trials: 6 }, 1.2],
    ['SNR 3', { snr: 3, poses: near, trials: 6 }, 2],
    ['a shift of a quarter of the side', { snr: 30, poses: [translation(40.3, -3.6)], trials: 10 }, 1.4],
    ['a shift of 60 %', { snr: 30, poses: [translation(96.4, 2.7)], trials: 10 }, 1.4],
  ] as const)('is reached at %s', (_, row, bar) => {
    const { ratios, nees } = measure(row);
    expect(ratios[0]!).toBeLessThan(bar);
    expect(nees).toBeGreaterThan(0.4);
    expect(nees).toBeLessThan(1.7);
  });

  // As strong against the contrast as 3 % and 10 % of the light are where the contrast is 3/4 of the light.
  it.each([
    [(0.03 * contrast) / (0.75 * mean), 2],
    [(0.1 * contrast) / (0.75 * mean), 4],
  ])('is missed by little with a pattern of %f of the light on the sensor', (pattern, bar) => {
    const { ratios, nees } = measure({ snr: 30, poses: [translation(7.3, 0.4)], pattern, trials: 10 });
    expect(ratios[0]!).toBeLessThan(bar);
    expect(nees).toBeGreaterThan(0.3);
    expect(nees).toBeLessThan(2);
  });

  it('is reached by shift, turn and scale together', () => {
    const poses = [
      poseAbout(middle, { shiftX: 1.2, shiftY: -2.7, rotationDeg: 4.3, scale: 0.985 }),
      poseAbout(middle, { shiftX: -2.4, shiftY: 0.8, rotationDeg: -3.1, scale: 1.018 }),
    ];
    const options: PairOptions = { freedom: 'similarity', rotationDeg: 5, scaleRange: 1.02 };
    const { ratios } = measure({ snr: 30, poses, options, trials: 10 });
    for (const ratio of ratios) expect(ratio).toBeLessThan(1.5);
  });
});

describe('registerPair', () => {
  const sigma = contrast / 30;
  const truth = translation(5.31, -3.64);
  const fixed = noisy(fixedClean, sigma, 'fixed');
  const moving = noisy(view(truth), sigma, 'moving');
  const found = registerPair(fixed, moving) as PairPlaced;

  it('describes what it found', () => {
    expect(found.placed).toBe(true);
    expect(poseDistancePx(found.pose, truth, SIDE, SIDE)).toBeLessThan(0.02);
    expect(found.shiftXPx).toBeCloseTo(found.pose.tx, 12);
    expect(found.overlap).toMatchObject({ x0: 5, y0: 0, x1: 159, y1: 155 });
    expect(found.overlap.share).toBeCloseTo(((SIDE - 5.31) * (SIDE - 3.64)) / SIDE ** 2, 3);
    expect(found.gain).toBeCloseTo(1, 2);
    expect(found.residualSigma).toBeGreaterThan(sigma);
    expect(found.residualSigma).toBeLessThan(1.5 * sigma);
    expect(found.correlation).toBeGreaterThan(0.99);
    expect(found.probability).toBeGreaterThan(0.999);
    // From the noise that was measured: within a fifth of the bound that the truth gives.
    const [boundX] = boundFor(truth, sigma, 'shift');
    expect(Math.sqrt(found.bound.matrix[0]! / boundX!)).toBeGreaterThan(0.85);
    expect(Math.sqrt(found.bound.matrix[0]! / boundX!)).toBeLessThan(1.2);
  });

  it('gives the same bits again and leaves its inputs alone', () => {
    const before = [fixed.data.slice(), moving.data.slice()];
    expect(registerPair(fixed, moving)).toEqual(found);
    expect([fixed.data, moving.data]).toEqual(before);
  });

  it('gives the inverse when the pictures change places', () => {
    const back = registerPair(moving, fixed) as PairPlaced;
    const round = compose(back.pose, found.pose);
    // Both see the same noise: what differs is a small part of their own error.
    const sigmaPx = Math.sqrt(found.covariance.matrix[0]!);
    expect(poseDistancePx(round, IDENTITY, SIDE, SIDE)).toBeLessThan(0.5 * sigmaPx);
  });

  it('does not mind the scale and the level of the light', () => {
    const other = { ...moving, data: moving.data.map((v) => 3 * v + 0.7) };
    const again = registerPair(fixed, other) as PairPlaced;
    const tolerancePx = 0.05 * Math.sqrt(found.covariance.matrix[0]!);
    expect(poseDistancePx(again.pose, found.pose, SIDE, SIDE)).toBeLessThan(tolerancePx);
    expect(3 * again.gain).toBeCloseTo(found.gain, 3);
  });

  it('leaves out what is not covered, not finite or clipped', () => {
    const random = createRandom('holes');
    const coverage = Uint8Array.from(fixed.data, () => (random.uniform() < 0.002 ? 0 : 1));
    const data = fixed.data.map((v, i) => (coverage[i] ? v : 50));
    data[2000] = Number.NaN;
    data[9000] = Number.POSITIVE_INFINITY;
    const masked = registerPair({ ...fixed, data, coverage }, moving) as PairPlaced;
    expect(masked.placed).toBe(true);
    expect(poseDistancePx(masked.pose, truth, SIDE, SIDE)).toBeLessThan(0.02);
    const limit = [...fixed.data].sort((a, b) => a - b)[Math.floor(0.97 * fixed.data.length)]!;
    const clipped = [fixed, moving].map((p) => ({ ...p, data: p.data.map((v) => Math.min(v, limit)) }));
    const open = registerPair(clipped[0]!, clipped[1]!) as PairPlaced;
    expect(poseDistancePx(open.pose, truth, SIDE, SIDE)).toBeLessThan(0.03);
  });

  it('weighs the pixels by a noise that is known', () => {
    const random = createRandom('uneven');
    const noise = fixed.data.map((_, i) => (i % SIDE < SIDE / 2 ? sigma : 12 * sigma));
    const uneven = { ...fixed, data: fixedClean.data.map((v, i) => v + noise[i]! * random.normal()) };
    const plain = registerPair(uneven, moving) as PairPlaced;
    const weighed = registerPair({ ...uneven, noise }, { ...moving, noise: sigma }) as PairPlaced;
    const [before, after] = [plain, weighed].map((p) => Math.sqrt(p.covariance.matrix[0]!)) as [number, number];
    // Half of the ground at full weight: about √2 times the error without uneven noise, not 8 times.
    expect(after).toBeLessThan(0.4 * before);
    expect(Math.abs(weighed.shiftXPx - truth.tx)).toBeLessThan(4 * after);
    // Bound and measured covariance agree to the scatter of the latter.
    expect(Math.sqrt(weighed.bound.matrix[0]!) / after).toBeGreaterThan(0.75);
    expect(Math.sqrt(weighed.bound.matrix[0]!) / after).toBeLessThan(1.25);
    const refused = registerPair({ ...uneven, noise }, moving);
    expect(refused).toMatchObject({ placed: false, reason: 'BAD_INPUT' });
  });

  it('takes an expected pose at its word', () => {
    const right = registerPair(fixed, moving, { expected: { pose: translation(4, -3), sigmaPx: 2 } });
    expect(right).toMatchObject({ placed: true, shiftXPx: found.shiftXPx });
    const wrong = registerPair(fixed, moving, { expected: { pose: translation(60, 40), sigmaPx: 2 } });
    expect(wrong).toMatchObject({ placed: false, reason: 'CONTRADICTED' });
  });

  it.each([
    ['any', 1.5, 122, 1.35],
    [40, 1, -33, 1],
  ] as const)('searches turns of %s and scales up to %f', (rotationDeg, scaleRange, turn, scale) => {
    const pose = poseAbout(middle, { shiftX: 6.4, shiftY: -4.2, rotationDeg: turn, scale });
    const options: PairOptions = { freedom: scaleRange > 1 ? 'similarity' : 'rigid', rotationDeg, scaleRange };
    const turned = registerPair(fixed, noisy(view(pose), sigma, 'turned'), options) as PairPlaced;
    expect(turned.placed).toBe(true);
    expect(poseDistancePx(turned.pose, pose, SIDE, SIDE)).toBeLessThan(0.05);
  });

  it('measures a squeeze', () => {
    const pose = poseAbout(middle, { shiftX: 1.4, shiftY: 2.2, rotationDeg: 0.6, scale: 1.004, squeeze: 0.99 });
    const squeezed = registerPair(fixed, noisy(view(pose), sigma, 'squeezed'), { freedom: 'squeezed' }) as PairPlaced;
    expect(squeezed.squeeze).toBeCloseTo(0.99, 3);
    expect(squeezed.covariance.parameters).toHaveLength(5);
    expect(poseDistancePx(squeezed.pose, pose, SIDE, SIDE)).toBeLessThan(0.03);
  });
});
