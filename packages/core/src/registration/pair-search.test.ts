import { beforeAll, describe, expect, it } from 'vitest';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { binPlane } from '../compute/downsample.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom, type Random } from '../compute/random.js';
import { cubicAt } from '../compute/sample.js';
import { drawScene } from '../rehearsal/scene.js';
import { isCertain, searchSimilarity } from './pair-search.js';
import type { SearchRanges } from './pair-search-vote.js';

const WIDTH = 360;
const HEIGHT = 270;
const SNR = 10;
const ANY: SearchRanges = { rotationDeg: 'any', scale: [0.28, 3.2] };

/** A Moon that never was, with means over whole blocks for pictures whose px are larger. */
interface Moon {
  readonly width: number;
  readonly height: number;
  readonly means: readonly Plane[];
}

function moon(seed: string, phaseAngleDeg: number): Moon {
  const scene = drawScene({ diameterPx: 1150, phaseAngleDeg, brightLimbDeg: 40 }, createRandom(seed));
  const fine = { width: scene.width, height: scene.height, data: scene.light };
  return { width: fine.width, height: fine.height, means: [1, 2, 3].map((factor) => binPlane(fine, factor)) };
}

/** What a frame sees of the Moon, in Gaussian blur and noise of 1/SNR of its contrast; `pose` maps frame px to Moon px. */
function frame(moon: Moon, pose: Affine, random: Random, gain = 1): Plane {
  const factor = Math.max(1, Math.min(3, Math.floor(Math.hypot(pose.xx, pose.yx) * 1.1)));
  const { width, height, data } = moon.means[factor - 1]!;
  const sharp = createPlane(WIDTH, HEIGHT);
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      const u = (applyX(pose, x, y) - (factor - 1) / 2) / factor;
      const v = (applyY(pose, x, y) - (factor - 1) / 2) / factor;
      if (u < 0 || v < 0 || u > width - 1 || v > height - 1) continue;
      sharp.data[y * WIDTH + x] = gain * Math.max(0, cubicAt(data, width, height, u, v));
    }
  }
  const plane = gaussianBlur(sharp, 0.9 + 0.6 * random.uniform());
  const lit = plane.data.filter((v) => v > 0.05 * gain);
  const mean = lit.reduce((a, b) => a + b, 0) / Math.max(1, lit.length);
  const contrast = Math.sqrt(lit.reduce((a, b) => a + (b - mean) ** 2, 0) / Math.max(1, lit.length));
  for (let i = 0; i < plane.data.length; i++) plane.data[i]! += (contrast / SNR) * random.normal();
  return plane;
}

/** Frame px -> Moon px, the frame's middle at (x, y). */
function frameAt(x: number, y: number, rotationDeg: number, scale: number): Affine {
  const middle = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
  return poseAbout(middle, { shiftX: x - middle.x, shiftY: y - middle.y, rotationDeg, scale });
}

/** Share of the frame at `moving` that lies in the frame at `fixed`, and how much of that is lit. */
function common(moon: Moon, fixed: Affine, moving: Affine): { share: number; lit: number } {
  const toFixed = compose(invert(fixed), moving);
  let inside = 0;
  let lit = 0;
  for (let y = 0; y < HEIGHT; y += 10) {
    for (let x = 0; x < WIDTH; x += 10) {
      const u = applyX(toFixed, x, y);
      const v = applyY(toFixed, x, y);
      if (u < 0 || v < 0 || u > WIDTH - 1 || v > HEIGHT - 1) continue;
      inside++;
      const px = Math.round(applyX(moving, x, y));
      const py = Math.round(applyY(moving, x, y));
      if (px < 0 || py < 0 || px >= moon.width || py >= moon.height) continue;
      if (moon.means[0]!.data[py * moon.width + px]! > 0.08) lit++;
    }
  }
  return { share: inside / ((WIDTH / 10) * (HEIGHT / 10)), lit: lit / Math.max(1, inside) };
}

/** Two frames of random turn and scale that share at least the given part of the smaller one. */
function randomPoses(moon: Moon, random: Random, least: number, most: number): { fixed: Affine; moving: Affine } {
  for (;;) {
    const scale = 0.3 * 10 ** random.uniform();
    const finest = Math.max(1, 1 / scale);
    const place = (px: number): Affine =>
      frameAt(moon.width * random.uniform(), moon.height * random.uniform(), 360 * random.uniform(), px);
    const fixed = place(finest);
    const moving = place(finest * scale);
    const seen = scale < 1 ? common(moon, fixed, moving) : common(moon, moving, fixed);
    if (seen.share >= least && seen.share <= most && seen.lit > 0.6) return { fixed, moving };
  }
}

/** Farthest that the found pose is off the true one over the common part, px of the coarser picture. */
function missPx(found: Affine, truth: Affine): number {
  const scale = Math.hypot(truth.xx, truth.yx);
  let most = 0;
  for (let y = 0; y < HEIGHT; y += 5) {
    for (let x = 0; x < WIDTH; x += 5) {
      const u = applyX(truth, x, y);
      const v = applyY(truth, x, y);
      if (u < 0 || v < 0 || u > WIDTH - 1 || v > HEIGHT - 1) continue;
      most = Math.max(most, Math.hypot(applyX(found, x, y) - u, applyY(found, x, y) - v));
    }
  }
  return most / Math.max(1, scale);
}

let gibbous: Moon;
let quarter: Moon;

beforeAll(() => {
  gibbous = moon('search/gibbous', 50);
  quarter = moon('search/quarter', 95);
});

describe('searchSimilarity', () => {
  it('places frames of any turn, of 0.3 to 3 times the scale, that share 30 % and more', () => {
    const random = createRandom('search/poses');
    for (let trial = 0; trial < 8; trial++) {
      const moonSeen = trial % 2 ? gibbous : quarter;
      const { fixed, moving } = randomPoses(moonSeen, random, 0.3, 1);
      const [best] = searchSimilarity(
        { light: frame(moonSeen, fixed, random) },
        { light: frame(moonSeen, moving, random, 0.4 + random.uniform()) },
        ANY,
      );
      const truth = compose(invert(fixed), moving);
      expect(best && isCertain(best), `trial ${trial}`).toBe(true);
      // Registration starts from here and draws in from 2 px.
      expect(missPx(best!.pose, truth), `trial ${trial}`).toBeLessThan(1.5);
      expect(best!.scale).toBeCloseTo(Math.hypot(truth.xx, truth.yx), 1);
    }
  });

  it('keeps to the ranges, and finds the pose within them all the same', () => {
    const random = createRandom('search/ranges');
    const fixed = { light: frame(gibbous, frameAt(560, 480, 0, 1), random) };
    const moving = { light: frame(gibbous, frameAt(620, 520, 25, 1.1), random) };
    const [best] = searchSimilarity(fixed, moving, { rotationDeg: [20, 30], scale: [1, 1.2] });
    expect(best!.rotationDeg).toBeCloseTo(25, 0);
    expect(best!.scale).toBeCloseTo(1.1, 2);
    expect(searchSimilarity(fixed, moving, { rotationDeg: [-10, 10], scale: [1, 1.2] })).toEqual([]);
    expect(searchSimilarity(fixed, moving, { rotationDeg: 'any', scale: [0.3, 0.9] })).toEqual([]);
  });

  it('gives the inverse pose for pictures that change places, and the same again for the same', () => {
    const random = createRandom('search/swap');
    const a = { light: frame(gibbous, frameAt(560, 480, 0, 1.8), random) };
    const b = { light: frame(gibbous, frameAt(620, 520, 140, 1), random) };
    const there = searchSimilarity(a, b, ANY);
    const back = searchSimilarity(b, a, ANY);
    const around = compose(there[0]!.pose, back[0]!.pose);
    // Two measurements, each good to a tenth of a px of the coarser picture.
    expect(missPx(around, { xx: 1, xy: 0, yx: 0, yy: 1, tx: 0, ty: 0 })).toBeLessThan(0.3);
    expect(searchSimilarity(a, b, ANY)).toEqual(there);
  });

  it('leaves out what is not covered', () => {
    const random = createRandom('search/cover');
    const fixed = frame(gibbous, frameAt(500, 480, 0, 1), random);
    const moving = frame(gibbous, frameAt(560, 500, 15, 1), random);
    const stamp = frame(quarter, frameAt(500, 500, 0, 1), random);
    const coverage = createPlane(WIDTH, HEIGHT);
    for (const plane of [fixed, moving]) {
      for (let i = 0; i < plane.data.length; i++) {
        coverage.data[i] = i % WIDTH < 200 ? 0 : 1;
        if (coverage.data[i] === 0) plane.data[i] = stamp.data[i]!;
      }
    }
    // The same picture lies at no shift and no turn in both, but not on covered ground.
    const [best] = searchSimilarity({ light: fixed, coverage }, { light: moving, coverage }, ANY);
    expect(best && isCertain(best)).toBe(true);
    expect(best!.rotationDeg).toBeCloseTo(15, 0);
  });

  it('is certain of no pair that shares no ground', () => {
    const random = createRandom('search/apart');
    for (let trial = 0; trial < 4; trial++) {
      const { fixed, moving } = randomPoses(gibbous, random, 0.5, 1);
      const a = { light: frame(gibbous, fixed, random) };
      const b = { light: frame(quarter, moving, random) };
      expect(searchSimilarity(a, b, ANY).filter(isCertain), `trial ${trial}`).toEqual([]);
    }
    const left = { light: frame(gibbous, frameAt(330, 480, 0, 1), random) };
    const right = { light: frame(gibbous, frameAt(700, 480, 60, 1), random) };
    expect(searchSimilarity(left, right, ANY).filter(isCertain)).toEqual([]);
  });

  it('finds nothing in noise, in emptiness, in a clipped sky and in a disc without texture', () => {
    const random = createRandom('search/nothing');
    const ground = { light: frame(gibbous, frameAt(560, 480, 0, 1), random) };
    const noise = (sigmaPx: number): Plane => {
      const plane = createPlane(WIDTH, HEIGHT);
      for (let i = 0; i < plane.data.length; i++) plane.data[i] = 0.3 + 0.05 * random.normal();
      return gaussianBlur(plane, sigmaPx);
    };
    const disc = noise(1);
    for (let i = 0; i < disc.data.length; i++) {
      const r = Math.hypot((i % WIDTH) - 180, Math.floor(i / WIDTH) - 130) / 110;
      disc.data[i] = (r < 1 ? 0.3 + 0.5 * Math.sqrt(1 - r * r) : 0) + 0.1 * disc.data[i]!;
    }
    const clipped = createPlane(WIDTH, HEIGHT);
    clipped.data.fill(1);
    for (const light of [noise(0), noise(2), disc, clipped, createPlane(WIDTH, HEIGHT), createPlane(0, 0)]) {
      expect(searchSimilarity(ground, { light }, ANY)).toEqual([]);
      expect(searchSimilarity({ light }, ground, ANY)).toEqual([]);
    }
  });

  it('says which range is empty', () => {
    const nothing = { light: createPlane(40, 40) };
    expect(() => searchSimilarity(nothing, nothing, { rotationDeg: [5, -5], scale: [1, 1] })).toThrow(
      "rotationDeg must be [least, largest] or 'any', got [5, -5]",
    );
    expect(() => searchSimilarity(nothing, nothing, { rotationDeg: 'any', scale: [0, 1] })).toThrow(
      'scale must be [least, largest], both above 0, got [0, 1]',
    );
  });
});
