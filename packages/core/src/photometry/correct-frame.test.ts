import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf } from '../../test/scene-field.js';
import { correctFrame, type FrameCorrection, liftOf } from './correct-frame.js';
import { flatPattern, patternAt, withCoefficients } from './pattern.js';

const WIDTH = 96;
const HEIGHT = 64;
const scene = createSceneField({ seed: 'correct', widthPx: 100, heightPx: 70 });
const ground = [planeOf(WIDTH, HEIGHT, scene.at), planeOf(WIDTH, HEIGHT, (x, y) => 0.5 * scene.at(y, x))];
const flat = flatPattern(WIDTH, HEIGHT);
const pattern = withCoefficients(flat, [-0.25, -0.05, 0.01, ...flat.nodes.map((_, i) => 0.01 * Math.sin(i))]);
const correction: FrameCorrection = {
  gain: [1.3, 0.8],
  sky: [0.02, 0.035],
  slopeX: [0.01, -0.004],
  slopeY: [-0.006, 0.003],
};

/** recorded = pattern · (gain · ground + sky + slope · position). */
const recorded = ground.map((plane, c) =>
  planeOf(WIDTH, HEIGHT, (x, y) => {
    const diagonal = Math.hypot(WIDTH, HEIGHT) / 2;
    const sx = (x + 0.5 - WIDTH / 2) / diagonal;
    const sy = (y + 0.5 - HEIGHT / 2) / diagonal;
    const sky = correction.sky[c]! + correction.slopeX[c]! * sx + correction.slopeY[c]! * sy;
    return patternAt(pattern, sx, sy) * (correction.gain[c]! * plane.data[y * WIDTH + x]! + sky);
  }),
);
const image = { width: WIDTH, height: HEIGHT, planes: recorded.map((p) => p.data) };

describe('correctFrame', () => {
  it('gives the ground back from what was recorded of it', () => {
    const before = image.planes.map((p) => p.slice());
    const out = [new Float32Array(WIDTH * HEIGHT), new Float32Array(WIDTH * HEIGHT)];
    correctFrame(image, liftOf(pattern, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT)), correction, out);
    // Light up to 1.5 rounded to Float32 twice.
    out.forEach((plane, c) => {
      expectSamples(plane, ground[c]!.data, 6e-7);
      expectSamples(image.planes[c]!, before[c]!);
    });
  });

  it('is the identity for no pattern and no light to correct', () => {
    const out = [new Float32Array(WIDTH * HEIGHT)];
    correctFrame(
      image,
      liftOf(flat, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT)),
      { gain: [1], sky: [0], slopeX: [0], slopeY: [0] },
      out,
    );
    expectSamples(out[0]!, image.planes[0]!);
  });

  it('fills the channels of a colour plate from a grey frame', () => {
    const grey = { width: WIDTH, height: HEIGHT, planes: [image.planes[0]!] };
    const out = [0, 1, 2].map(() => new Float32Array(WIDTH * HEIGHT));
    const same = { gain: [2, 2, 2], sky: [0.1, 0.1, 0.1], slopeX: [0, 0, 0], slopeY: [0, 0, 0] };
    correctFrame(grey, liftOf(pattern, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT)), same, out);
    expectSamples(out[1]!, out[0]!);
    expectSamples(out[2]!, out[0]!);
    // The frame may lie in the first of the planes that are filled.
    const inPlace = [image.planes[0]!.slice(), ...out.slice(1).map((p) => p.map(() => 0))];
    const own = { ...grey, planes: [inPlace[0]!] };
    correctFrame(own, liftOf(pattern, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT)), same, inPlace);
    for (const [c, plane] of inPlace.entries()) expectSamples(plane, out[c]!);
  });
});

describe('liftOf', () => {
  it('multiplies the fine pattern in, on pixels twice as large, linear between their middles', () => {
    const fine = planeOf(WIDTH / 2, HEIGHT / 2, (x, y) => -Math.log(1 + 0.001 * x + 0.002 * y));
    const smooth = liftOf(pattern, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT));
    const lift = liftOf(pattern, WIDTH, HEIGHT, new Float32Array(WIDTH * HEIGHT), fine, 2);
    for (const [x, y] of [
      [1, 1],
      [40, 21],
      [77, 50],
    ] as const) {
      const expected = 1 + 0.001 * ((x - 0.5) / 2) + 0.002 * ((y - 0.5) / 2);
      // Logarithm, exponential and product, each rounded to Float32.
      expect(Math.abs(lift[y * WIDTH + x]! / smooth[y * WIDTH + x]! - expected)).toBeLessThan(5e-7);
    }
  });
});
