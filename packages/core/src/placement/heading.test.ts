import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Affine, compose, poseAbout, translation } from '../compute/affine.js';
import { createRandom } from '../compute/random.js';
import { type HeadedFrame, headingOf } from './heading.js';

const SIZE = { widthPx: 720, heightPx: 480 };
const CENTRE = { x: 359.5, y: 239.5 };

interface Way {
  readonly frames: number;
  readonly stepPx: number;
  readonly angleRad: number;
  /** Field rotation over the whole way, degrees; the way bends by the same angle. */
  readonly turnDeg?: number;
  readonly tiltPx?: number;
  readonly seed?: number;
}

function passOf({ frames, stepPx, angleRad, turnDeg = 0, tiltPx = 0, seed = 1 }: Way): HeadedFrame[] {
  const random = createRandom(seed);
  const wayPx = stepPx * (frames - 1);
  const rate = (turnDeg * Math.PI) / 180 / wayPx;
  return Array.from({ length: frames }, (_, k) => {
    const along = stepPx * k - wayPx / 2;
    const bend = (rate * along * along) / 2;
    const x = along * Math.cos(angleRad) - bend * Math.sin(angleRad) + tiltPx * random.normal();
    const y = along * Math.sin(angleRad) + bend * Math.cos(angleRad) + tiltPx * random.normal();
    const rotationDeg = (rate * along * 180) / Math.PI;
    return {
      ...SIZE,
      pose: compose(translation(x + 2000, y + 2000), poseAbout(CENTRE, { shiftX: 0, shiftY: 0, rotationDeg })),
    };
  });
}

const apart = (a: number, b: number): number => Math.abs(a - b - Math.PI * Math.round((a - b) / Math.PI));

describe('headingOf', () => {
  test('finds the direction of a bent way exactly, in any direction, and its rate', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -3, max: 3, noNaN: true }),
        fc.double({ min: -0.4, max: 0.4, noNaN: true }),
        (angleRad, turnDeg) => {
          const heading = headingOf(passOf({ frames: 12, stepPx: 90, angleRad, turnDeg }))!;
          expect(apart(heading.angleRad, angleRad)).toBeLessThan(1e-6);
          expect(Math.abs(heading.ratePerPx) * 990).toBeCloseTo((Math.abs(turnDeg) * Math.PI) / 180, 6);
        },
      ),
      { seed: 3, numRuns: 50 },
    );
  });

  test('states its error rightly for a tilt that is white: 1.4² too careful, since the air remembers', () => {
    let sum = 0;
    const trials = 400;
    for (let seed = 0; seed < trials; seed++) {
      const heading = headingOf(passOf({ frames: 24, stepPx: 40, angleRad: 0.3, tiltPx: 1.5, seed }))!;
      sum += (apart(heading.angleRad, 0.3) / heading.sigmaRad) ** 2 / trials;
    }
    // 400 trials: ±0.07. The floor of the sigma takes a little more.
    expect(sum).toBeGreaterThan(0.37);
    expect(sum).toBeLessThan(0.61);
  });

  test('few frames, a short or a crooked way say nothing', () => {
    expect(headingOf(passOf({ frames: 5, stepPx: 90, angleRad: 0 }))).toBeUndefined();
    expect(headingOf(passOf({ frames: 12, stepPx: 9, angleRad: 0 }))).toBeUndefined();
    expect(headingOf(passOf({ frames: 12, stepPx: 20, angleRad: 0, tiltPx: 40 }))).toBeUndefined();
  });

  test('a pose of the whole strip turns the heading with it', () => {
    const frames = passOf({ frames: 10, stepPx: 80, angleRad: 0.1, turnDeg: 0.2 });
    const turn: Affine = poseAbout(CENTRE, { shiftX: 12, shiftY: -7, rotationDeg: 5 });
    const turned = headingOf(frames.map((f) => ({ ...f, pose: compose(turn, f.pose) })))!;
    expect(apart(turned.angleRad, headingOf(frames)!.angleRad + (5 * Math.PI) / 180)).toBeLessThan(1e-6);
  });
});
