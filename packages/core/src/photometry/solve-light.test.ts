import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import type { GroundObservations } from './ground.js';
import { flatPattern, patternAt, type SmoothPattern, withCoefficients } from './pattern.js';
import { type LightProblem, solveLight } from './solve-light.js';

const flat = flatPattern(640, 480);
const FRAMES_A_PASS = 6;
const PASSES = 3;

interface Truth {
  readonly gain: readonly number[];
  readonly sky: readonly number[];
  readonly slopes: readonly (readonly [number, number])[];
  readonly pattern: SmoothPattern;
}

/** Passes that drift along x, one above the other, over ground that is dark beyond a limb. */
function problemOf(
  truth: Truth,
  options: { solvePattern: boolean; spoilShare?: number; noise?: number; lit?: boolean },
): LightProblem {
  const random = createRandom('ground');
  const count = FRAMES_A_PASS * PASSES;
  const passOf = Array.from({ length: count }, (_, f) => Math.floor(f / FRAMES_A_PASS));
  const list = { frame: [] as number[], x: [] as number[], y: [] as number[], value: [] as number[] };
  const cellStart = [0];
  for (let gy = -0.6; gy <= 1.7; gy += 0.09) {
    for (let gx = -0.9; gx <= 2.9; gx += 0.09) {
      const dark = !options.lit && Math.hypot(gx - 1, gy - 0.5) > 1.35;
      const ground = dark ? 0 : 0.15 + 0.5 * random.uniform();
      const before = list.frame.length;
      for (let f = 0; f < count; f++) {
        const x = gx - 0.4 * (f % FRAMES_A_PASS);
        const y = gy - 0.5 * passOf[f]! - 0.02 * (f % FRAMES_A_PASS);
        if (Math.abs(x) > flat.halfWidth || Math.abs(y) > flat.halfHeight) continue;
        const [slopeX, slopeY] = truth.slopes[passOf[f]!]!;
        const sky = truth.sky[f]! * (1 + slopeX * x + slopeY * y);
        const clean = patternAt(truth.pattern, x, y) * (truth.gain[f]! * ground + sky);
        const spoilt = random.uniform() < (options.spoilShare ?? 0) ? 0.3 * random.uniform() : 0;
        list.frame.push(f);
        list.x.push(x);
        list.y.push(y);
        list.value.push(clean + spoilt + (options.noise ?? 0) * random.normal());
      }
      if (list.frame.length - before >= 2) cellStart.push(list.frame.length);
      else for (const l of Object.values(list)) l.length = before;
    }
  }
  const value = Float32Array.from(list.value);
  const ground: GroundObservations = {
    cellCount: cellStart.length - 1,
    cellStart: Uint32Array.from(cellStart),
    frame: Uint16Array.from(list.frame),
    sensorX: Float32Array.from(list.x),
    sensorY: Float32Array.from(list.y),
    value: [value],
    roughness: new Float32Array(value.length),
  };
  const darkest = new Array<number>(count).fill(Infinity);
  value.forEach((v, i) => {
    darkest[list.frame[i]!] = Math.min(darkest[list.frame[i]!]!, v);
  });
  return {
    ground,
    value,
    passOf,
    skyStart: options.lit ? truth.sky : darkest,
    pattern: options.solvePattern ? flat : truth.pattern,
    slopes: options.solvePattern ? truth.slopes.map(() => [0, 0] as const) : truth.slopes,
    solvePattern: options.solvePattern,
  };
}

function truthOf(
  pattern: SmoothPattern,
  slopes: Truth['slopes'] = [
    [0, 0],
    [0, 0],
    [0, 0],
  ],
): Truth {
  const random = createRandom('light');
  const log = Array.from(
    { length: FRAMES_A_PASS * PASSES },
    (_, f) => 0.3 * Math.floor(f / FRAMES_A_PASS) + 0.04 * random.normal(),
  );
  const mean = log.reduce((sum, v) => sum + v, 0) / log.length;
  return {
    gain: log.map((v) => Math.exp(v - mean)),
    sky: log.map((_, f) => 0.02 + 0.015 * Math.floor(f / FRAMES_A_PASS) + 0.0004 * (f % FRAMES_A_PASS)),
    slopes,
    pattern,
  };
}

const worst = (a: readonly number[], b: readonly number[]): number => Math.max(...a.map((v, i) => Math.abs(v - b[i]!)));

/** Largest relative difference over the frame. */
function patternError(a: SmoothPattern, b: SmoothPattern): number {
  let most = 0;
  for (let y = -0.55; y <= 0.55; y += 0.11)
    for (let x = -0.75; x <= 0.75; x += 0.15)
      most = Math.max(most, Math.abs(patternAt(a, x, y) / patternAt(b, x, y) - 1));
  return most;
}

const vignetting = withCoefficients(flat, [-0.3, -0.08, 0.02, ...flat.nodes]);

describe('solveLight', () => {
  it('finds gain and sky of every frame when the pattern is known', () => {
    const truth = truthOf(vignetting, [
      [0.1, -0.05],
      [-0.08, 0.1],
      [0, 0.12],
    ]);
    const found = solveLight(problemOf(truth, { solvePattern: false }));
    // Data follow the model; the priors (σ 3 in log gain, 0.1 in sky) weigh millionths of the data.
    expect(worst(found.gain, truth.gain)).toBeLessThan(1e-4);
    expect(worst(found.sky, truth.sky)).toBeLessThan(1e-5);
    expect(found.residual).toBeLessThan(1e-5);
    expect(found.pattern).toBe(truth.pattern);
    expect(found.slopes).toEqual(truth.slopes);
  });

  it('tells vignetting, slopes of the sky, gains and skies apart', () => {
    const truth = truthOf(vignetting, [
      [0.1, -0.05],
      [-0.08, 0.1],
      [0, 0.12],
    ]);
    const found = solveLight(problemOf(truth, { solvePattern: true }));
    // A scale of the pattern at its nodes cannot be told from light; what it may take is held by their prior.
    expect(patternError(found.pattern, truth.pattern)).toBeLessThan(0.004);
    expect(worst(found.gain, truth.gain)).toBeLessThan(0.004);
    expect(worst(found.sky, truth.sky)).toBeLessThan(2e-4);
    found.slopes.forEach((slope, p) => {
      expect(worst(slope, truth.slopes[p]!)).toBeLessThan(0.02);
    });
    expect(found.residual).toBeLessThan(3e-4);
  });

  it('finds a bump of the pattern that is not round', () => {
    const bump = flat.nodes.map((_, i) => 0.012 * Math.exp(-(((i % 9) - 2) ** 2 + (Math.floor(i / 9) - 3) ** 2) / 2));
    const truth = truthOf(withCoefficients(flat, [-0.2, 0, 0, ...bump]));
    const found = solveLight(problemOf(truth, { solvePattern: true }));
    // The bump is 1.2 % high, next to nodes that a prior of 0.6 % holds at 0.
    expect(patternError(found.pattern, truth.pattern)).toBeLessThan(0.004);
  });

  it('is not misled by single blocks that went wrong', () => {
    const truth = truthOf(vignetting);
    const found = solveLight(problemOf(truth, { solvePattern: true, spoilShare: 0.02, noise: 0.0004 }));
    expect(worst(found.gain, truth.gain)).toBeLessThan(0.01);
    expect(patternError(found.pattern, truth.pattern)).toBeLessThan(0.01);
    expect(worst(found.sky, truth.sky)).toBeLessThan(5e-4);
  });

  it('settles what the motion leaves open: the mean of log gain is 0, and the sky stays near its start where none is seen', () => {
    const truth = truthOf(vignetting);
    const dimmed = { ...truth, gain: truth.gain.map((g) => 0.4 * g), sky: truth.sky.map((s) => 0.4 * s) };
    const found = solveLight(problemOf(dimmed, { solvePattern: false }));
    expect(Math.abs(found.gain.reduce((sum, g) => sum + Math.log(g), 0))).toBeLessThan(1e-3);
    const lit = solveLight(problemOf(truth, { solvePattern: false, lit: true }));
    const mean = (v: readonly number[]): number => v.reduce((sum, x) => sum + x, 0) / v.length;
    expect(Math.abs(mean(lit.sky) - mean(truth.sky))).toBeLessThan(1e-3);
    expect(worst(lit.gain, truth.gain)).toBeLessThan(0.01);
  });

  it('leaves its input alone', () => {
    const problem = problemOf(truthOf(vignetting), { solvePattern: true });
    const before = structuredClone(problem);
    solveLight(problem);
    expect(problem).toEqual(before);
  });
});
