import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { poseDistancePx } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, compose, invert, poseAbout } from '../compute/affine.js';
import { createRandom, type Random } from '../compute/random.js';
import type { PatchShift } from './patches.js';
import { poseOnCourse, type SolvedPath, solvePath as solveOne, solvePaths } from './path.js';
import { driftOfPairs, type FramePair, type PathInput, sightingsOfPairs } from './path-model.js';

const WIDTH = 640;
const HEIGHT = 480;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };

function inputOf(pairs: readonly FramePair[], frames: readonly number[], widthPx: number, heightPx: number): PathInput {
  const times = new Map(frames.map((frame) => [frame, frame]));
  const driftPx = driftOfPairs(pairs, times, widthPx, heightPx);
  const sightings = sightingsOfPairs(pairs);
  return { sightings, groundPx: Number.POSITIVE_INFINITY, frames, times, driftPx, widthPx, heightPx };
}

function solvePath(pairs: readonly FramePair[], frames: readonly number[], width: number, height: number): SolvedPath {
  return solveOne(inputOf(pairs, frames, width, height));
}

/** A drifting, turning, flattening pass, by frame index; `tilt` scatters it. */
function truePoses(indices: readonly number[], tiltPx = 0, random: Random = createRandom('tilt')): Map<number, Affine> {
  const reference = indices[Math.floor(indices.length / 2)]!;
  return new Map(
    indices.map((index) => {
      const t = index - reference;
      const scatter = (): number => (t === 0 ? 0 : tiltPx * random.normal());
      const shiftX = -31 * t + scatter();
      const shiftY = 2.4 * t + 0.05 * t * t + scatter();
      return [index, poseAbout(centre, { shiftX, shiftY, rotationDeg: 0.008 * t, squeeze: 1 + 2e-5 * t })];
    }),
  );
}

/** What a perfect measurement of two frames gives, with noise when asked. */
function pairOf(
  poses: ReadonlyMap<number, Affine>,
  fixed: number,
  moving: number,
  noisePx = 0,
  random = createRandom('n'),
): FramePair {
  const pose = compose(invert(poses.get(fixed)!), poses.get(moving)!);
  const shifts: PatchShift[] = [];
  for (let y = 40; y < HEIGHT; y += 100) {
    for (let x = 40; x < WIDTH; x += 100) {
      const u = applyX(pose, x, y);
      const v = applyY(pose, x, y);
      if (u < 0 || v < 0 || u > WIDTH - 1 || v > HEIGHT - 1) continue;
      const variance = Math.max(noisePx, 0.01) ** 2;
      shifts.push({
        x,
        y,
        dx: noisePx * random.normal(),
        dy: noisePx * random.normal(),
        cxx: variance,
        cxy: 0,
        cyy: variance,
        correlation: 0.95,
      });
    }
  }
  return { fixed, moving, measure: { pose, correlation: 0.95, samples: 10_000, shifts } };
}

function pairsOf(poses: ReadonlyMap<number, Affine>, indices: readonly number[], noisePx = 0): FramePair[] {
  const random = createRandom('pairs');
  const pairs: FramePair[] = [];
  for (let apart = 1; apart <= 8; apart *= 2) {
    for (let k = 0; k + apart < indices.length; k++)
      pairs.push(pairOf(poses, indices[k]!, indices[k + apart]!, noisePx, random));
  }
  return pairs;
}

function worst(found: ReadonlyMap<number, Affine>, truth: ReadonlyMap<number, Affine>): number {
  return Math.max(...[...truth].map(([index, pose]) => poseDistancePx(found.get(index)!, pose, WIDTH, HEIGHT)));
}

const all = Array.from({ length: 17 }, (_, i) => i);

describe('solvePath', () => {
  it('gives back a pass that drifts, turns and flattens as the model says', () => {
    const truth = truePoses(all);
    const path = solvePath(pairsOf(truth, all), all, WIDTH, HEIGHT);
    // Turns are linear in the solve: (8 · 0.008°)² / 2 of 400 px is 2.5e-4 px; the faint priors take as much. Measured 0.003.
    expect(worst(path.poses, truth)).toBeLessThan(0.01);
    expect(path.rotationDegPerFrame).toBeCloseTo(0.008, 5);
    expect(path.squeezePerFrame).toBeCloseTo(2e-5, 6);
    expect(Math.max(...path.residualPx.values())).toBeLessThan(0.01);
    expect(Math.max(...path.offPathPx.values())).toBeLessThan(0.02);
  });

  it('leaves the middle frame where it is', () => {
    const path = solvePath(pairsOf(truePoses(all), all), all, WIDTH, HEIGHT);
    const { xx, xy, yx, yy, tx, ty } = path.poses.get(8)!;
    expect([xx, xy, yx, yy]).toEqual([1, -0, 0, 1]);
    expect(Math.hypot(tx, ty)).toBeLessThan(1e-4);
  });

  it('follows the air that tilts single frames, and says by how much', () => {
    const truth = truePoses(all, 1.5);
    const path = solvePath(pairsOf(truth, all, 0.05), all, WIDTH, HEIGHT);
    // Noise of 0.05 px over 20 patches and 5 pairs a frame leaves below 0.02 px; the rates over 8 frames do the rest.
    expect(worst(path.poses, truth)).toBeLessThan(0.1);
    // 1.5 px, from the median of 34 figures less the path's own 6 unknowns.
    expect(path.tiltPx).toBeGreaterThan(0.8);
    expect(path.tiltPx).toBeLessThan(2.2);
    // Half of the noise of a shift is taken for each of the two frames.
    expect(path.warpPx).toBeGreaterThan(0.02);
    expect(path.warpPx).toBeLessThan(0.06);
  });

  it('is not moved by a pair that is grossly wrong', () => {
    const truth = truePoses(all, 0.5);
    const pairs = pairsOf(truth, all, 0.03);
    const clean = worst(solvePath(pairs, all, WIDTH, HEIGHT).poses, truth);
    for (const k of [0, 5, 20]) {
      const spoilt = pairs.map((pair, i) => {
        if (i !== k) return pair;
        const shifts = pair.measure.shifts.map((s) => ({ ...s, dx: s.dx + 35, dy: s.dy - 18 }));
        return { ...pair, measure: { ...pair.measure, shifts } };
      });
      const path = solvePath(spoilt, all, WIDTH, HEIGHT);
      // What is left of its weight, (0.05 / 28)², moves its frames by thousandths; the first frame hangs on four pairs only.
      expect(worst(path.poses, truth)).toBeLessThan(clean + 0.06);
      // Half of the pair's 39 px falls on each frame, and is shared with the frame's other pairs.
      expect(path.residualPx.get(pairs[k]!.moving)).toBeGreaterThan(3);
    }
  });

  it('keeps its count when frames are missing from the recording', () => {
    const some = [0, 1, 2, 5, 6, 9, 10, 11, 12, 16];
    const truth = truePoses(some);
    const path = solvePath(pairsOf(truth, some), some, WIDTH, HEIGHT);
    expect(worst(path.poses, truth)).toBeLessThan(0.02);
    expect(path.rotationDegPerFrame).toBeCloseTo(0.008, 4);
  });

  it.each([1, 2, 3, 4])('solves a pass of %i frames', (count) => {
    const few = all.slice(0, count);
    const truth = truePoses(few, 0.4);
    const path = solvePath(pairsOf(truth, few), few, WIDTH, HEIGHT);
    // So short a pass hardly turns; the prior on its rate costs hundredths.
    expect(worst(path.poses, truth)).toBeLessThan(0.05);
  });

  it('does not care in which order pairs come', () => {
    const truth = truePoses(all, 1);
    const pairs = pairsOf(truth, all, 0.05);
    const plain = solvePath(pairs, all, WIDTH, HEIGHT);
    fc.assert(
      fc.property(fc.shuffledSubarray(pairs, { minLength: pairs.length }), (shuffled) => {
        // Sums of doubles in another order, through eight rounds of weights.
        expect(worst(solvePath(shuffled, all, WIDTH, HEIGHT).poses, plain.poses)).toBeLessThan(1e-6);
      }),
      { seed: 4, numRuns: 4 },
    );
  });
});

describe('solvePaths', () => {
  it('lets passes of one night share the rate of field rotation', () => {
    const truth = truePoses(all, 0.5);
    const alone = [0, 1, 2, 3].map((k) => {
      const random = createRandom(`night ${k}`);
      const pairs: FramePair[] = [];
      for (let i = 0; i + 1 < all.length; i++) pairs.push(pairOf(truth, i, i + 1, 0.8, random));
      return { pairs, input: inputOf(pairs, all, WIDTH, HEIGHT) };
    });
    const together = solvePaths(alone.map((pass) => pass.input));
    expect(new Set(together.map((path) => path.rotationDegPerFrame)).size).toBe(1);
    const error = (rate: number): number => Math.abs(rate - 0.008);
    const separate = alone.map((pass) => solveOne(pass.input).rotationDegPerFrame);
    const rms = Math.sqrt(separate.reduce((sum, rate) => sum + error(rate) ** 2, 0) / separate.length);
    expect(error(together[0]!.rotationDegPerFrame)).toBeLessThan(rms);
  });

  it('gives each pass its own way and keeps its reference frame in place', () => {
    const first = truePoses(all);
    const second = truePoses(all.slice(0, 9));
    const [a, b] = solvePaths([
      inputOf(pairsOf(first, all), all, WIDTH, HEIGHT),
      inputOf(pairsOf(second, all.slice(0, 9)), all.slice(0, 9), WIDTH, HEIGHT),
    ]);
    expect(worst(a!.poses, first)).toBeLessThan(0.05);
    expect(worst(b!.poses, second)).toBeLessThan(0.05);
    expect(poseDistancePx(a!.poses.get(8)!, b!.poses.get(4)!, WIDTH, HEIGHT)).toBeLessThan(1e-3);
  });
});

describe('the shape of a path', () => {
  const truth = truePoses(all, 0.5);
  const input = inputOf(pairsOf(truth, all, 0.05), all, WIDTH, HEIGHT);
  const plain = solveOne(input);

  it('does not change when the whole strip is shifted', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -500, max: 500, noNaN: true }),
        fc.double({ min: -500, max: 500, noNaN: true }),
        (x, y) => {
          const shifted = { ...input, sightings: input.sightings.map((s) => ({ ...s, u: s.u + x, v: s.v + y })) };
          // Free points take the shift up; sums of doubles of another size, through eight rounds of weights.
          expect(worst(solveOne(shifted).poses, plain.poses)).toBeLessThan(1e-6);
        },
      ),
      { seed: 11, numRuns: 5 },
    );
  });

  it('does not change when the recording starts at another number', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 5000 }), (offset) => {
        const frames = all.map((frame) => frame + offset);
        const sightings = input.sightings.map((s) => ({ ...s, frame: s.frame + offset }));
        const later = solveOne({ ...input, frames, sightings, times: new Map(frames.map((f) => [f, f])) });
        const back = new Map([...later.poses].map(([frame, pose]) => [frame - offset, pose]));
        expect(worst(back, plain.poses)).toBeLessThan(1e-9);
      }),
      { seed: 12, numRuns: 5 },
    );
  });

  it('is the reversed path when the frames come in reversed order', () => {
    const sightings = input.sightings.map((s) => ({ ...s, frame: 16 - s.frame }));
    const reversed = solveOne({ ...input, sightings });
    const back = new Map([...reversed.poses].map(([frame, pose]) => [16 - frame, pose]));
    // The same equations but for the signs of odd terms; the middle frame is the reference of both.
    expect(worst(back, plain.poses)).toBeLessThan(1e-6);
    expect(reversed.rotationDegPerFrame).toBeCloseTo(-plain.rotationDegPerFrame, 9);
    expect(reversed.course.x[1]).toBeCloseTo(-plain.course.x[1]!, 5);
    expect(reversed.course.y[2]).toBeCloseTo(plain.course.y[2]!, 5);
  });

  it('lies where the frames do, but for the air', () => {
    for (const frame of all) {
      const onCourse = poseOnCourse(plain, frame, WIDTH, HEIGHT);
      // Turn and stretch are the same; only the shift differs, by what is told.
      expect(poseDistancePx(onCourse, plain.poses.get(frame)!, WIDTH, HEIGHT)).toBeCloseTo(
        plain.offPathPx.get(frame)!,
        6,
      );
    }
  });
});
