import { expect, test } from 'vitest';
import { type KnownDisc, knownDisc, LIMB_LIGHT } from '../../test/known-disc.js';
import { plateOf } from '../../test/plate-in-memory.js';
import { quantile } from '../compute/quantile.js';
import { withBackground } from './background.js';
import { gaugeOf, type LimbEllipse } from './limb-ellipse.js';
import { findLimbModel } from './limb-model.js';
import { alphaAt } from './matte.js';

const ELLIPSE: LimbEllipse = { centreX: 402.3, centreY: 371.8, aPx: 300, bPx: 294, angleDeg: 0 };
const [WIDTH, HEIGHT] = [800, 740];

test.each([0.8, 1.7, 3])('the ellipse, a softness of %f px and the sky are found', (sigmaPx) => {
  const disc = knownDisc(WIDTH, HEIGHT, ELLIPSE, sigmaPx);
  const limb = findLimbModel(plateOf(disc.image, disc.coverage))!;
  for (const name of ['centreX', 'centreY', 'aPx', 'bPx'] as const) {
    expect(Math.abs(limb.ellipse[name] - ELLIPSE[name])).toBeLessThan(0.2);
  }
  expect(Math.abs(limb.softness.sigmaPx - sigmaPx)).toBeLessThan(0.05 * sigmaPx);
  // The ellipse and the offset together tell where the edge is.
  const edge = ELLIPSE.aPx + ELLIPSE.centreX;
  expect(Math.abs(limb.ellipse.aPx + limb.ellipse.centreX + limb.softness.offsetPx - edge)).toBeLessThan(0.1);
  // Noise of 0.25 % of the limb over an edge as wide as that.
  expect(limb.softness.roughnessPx).toBeLessThan(0.05 * (1 + sigmaPx));
  limb.sky.forEach((sky, c) => {
    expect(Math.abs(sky.level - disc.sky[c]!)).toBeLessThan(1e-4);
    expect(Math.abs(sky.slopeX - 1e-5)).toBeLessThan(1e-6);
    expect(Math.abs(sky.slopeY + 1e-5)).toBeLessThan(1e-6);
  });
});

const BACKGROUNDS = { white: [1, 1, 1], grey: [0.18, 0.18, 0.18], bright: [0.05, 0.6, 0.9], black: [0, 0, 0] };

/** Mean of the lit limb's pixels by their distance from the edge, in steps of half a pixel. */
function profile(values: Float32Array, share: (distancePx: number) => boolean): number[] {
  const gauge = gaugeOf(ELLIPSE);
  const sums = new Map<number, [number, number]>();
  for (let y = 0, i = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++, i++) {
      if (x < ELLIPSE.centreX + 0.5 * ELLIPSE.aPx) continue;
      const { distancePx } = gauge.place(x, y);
      if (!share(distancePx)) continue;
      const bin = Math.round(2 * distancePx);
      const [sum, count] = sums.get(bin) ?? [0, 0];
      sums.set(bin, [sum + values[i]!, count + 1]);
    }
  }
  return [...sums].sort((a, b) => a[0] - b[0]).map(([, [sum, count]]) => sum / count);
}

/** How far a profile leaves what lies between its two ends, or goes back on its way. */
function fringe(values: readonly number[]): number {
  const rises = values.at(-1)! > values[0]!;
  let worst = 0;
  let furthest = values[0]!;
  for (const value of values) {
    worst = Math.max(worst, rises ? furthest - value : value - furthest);
    furthest = rises ? Math.max(furthest, value) : Math.min(furthest, value);
  }
  return worst;
}

/** The known light of the sky at a pixel. */
function skyOf(disc: KnownDisc, channel: number, i: number): number {
  return disc.sky[channel]! + 1e-5 * ((i % WIDTH) - Math.floor(i / WIDTH));
}

test.each([0.8, 1.7, 3])(
  'cut out with a softness of %f px there is no fringe above a hundredth of the limb',
  (sigmaPx) => {
    const disc = knownDisc(WIDTH, HEIGHT, ELLIPSE, sigmaPx, 0.0002);
    const source = plateOf(disc.image, disc.coverage);
    const cut = withBackground(source, 'cut', findLimbModel(source)).read({
      x0: 0,
      y0: 0,
      width: WIDTH,
      height: HEIGHT,
    });
    for (const behind of Object.values(BACKGROUNDS)) {
      behind.forEach((back, c) => {
        const over = cut.coverage.data.map((alpha, i) => alpha * cut.image.planes[c]![i]! + (1 - alpha) * back);
        // Body without the light of the sky that lies over it.
        const truth = disc.alpha.map((alpha, i) => {
          const own = disc.tint[c]! * disc.body[i]! - skyOf(disc, c, i);
          return alpha * own + (1 - alpha) * back;
        });
        const near = profile(
          over.map((value, i) => value - truth[i]!),
          (d) => Math.abs(d) < 6 * sigmaPx + 2,
        );
        // An edge that lies 0.05 px off its place is no fringe, but differs by that much from one that does not.
        const limbLight = disc.tint[c]! * LIMB_LIGHT - disc.sky[c]!;
        const misplaced = (0.05 * Math.abs(back - limbLight)) / (sigmaPx * Math.sqrt(2 * Math.PI));
        expect(Math.max(...near.map(Math.abs))).toBeLessThan(0.01 * LIMB_LIGHT + misplaced);
        const along = profile(over, (d) => d > -1.5 * sigmaPx && d < 6 * sigmaPx + 2);
        expect(fringe(along)).toBeLessThan(0.01 * LIMB_LIGHT);
      });
    }
    // The plate as it is, laid over white with the same matte, has one: the sky under the edge.
    const plain = disc.image.planes[1]!.map((value, i) => cut.coverage.data[i]! * value + 1 - cut.coverage.data[i]!);
    const untouched = disc.alpha.map((alpha, i) => alpha * disc.body[i]! + 1 - alpha);
    const sunk = profile(
      plain.map((value, i) => untouched[i]! - value),
      (d) => Math.abs(d) < 3 * sigmaPx,
    );
    expect(Math.max(...sunk)).toBeGreaterThan(0.1 * LIMB_LIGHT);
  },
);

test('with the sky subtracted the limb is what the matte leaves of the body, and so is what is cut out within it', () => {
  const disc = knownDisc(WIDTH, HEIGHT, ELLIPSE, 1.7, 0);
  const source = plateOf(disc.image, disc.coverage);
  const limb = findLimbModel(source)!;
  const { image } = withBackground(source, 'subtract', limb).read({ x0: 0, y0: 0, width: WIDTH, height: HEIGHT });
  image.planes.forEach((plane, c) => {
    // The plate holds alpha·body + (1 − alpha)·sky: less the sky, alpha·(body − sky).
    const off = plane.map((value, i) => {
      return Math.abs(value - disc.alpha[i]! * (disc.tint[c]! * disc.body[i]! - skyOf(disc, c, i)));
    });
    expect(quantile(off, 1)).toBeLessThan(1e-4);
  });
  // Within the limb what is cut out is the same.
  const inside = { x0: 250, y0: 250, width: 300, height: 250 };
  const [cut, subtracted] = (['cut', 'subtract'] as const).map((how) => withBackground(source, how, limb).read(inside));
  expect(cut).toEqual(subtracted);
});

test('the matte covers the dark part, and does not depend on the light', () => {
  const edge = { sigmaPx: 1, offsetPx: 0 };
  const gauge = gaugeOf({ ...ELLIPSE, bPx: 250, angleDeg: 30 });
  const at = (x: number, y: number): number => alphaAt(gauge.place(x, y).distancePx, edge);
  expect(at(ELLIPSE.centreX, ELLIPSE.centreY)).toBe(1);
  const [cos, sin] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
  for (const side of [-1, 1]) {
    expect(at(ELLIPSE.centreX + side * 300 * cos, ELLIPSE.centreY + side * 300 * sin)).toBeCloseTo(0.5, 6);
    expect(at(ELLIPSE.centreX - side * 251 * sin, ELLIPSE.centreY + side * 251 * cos)).toBeCloseTo(0.1587, 3);
  }
});

test('no limb, no model', () => {
  const size = { width: 200, height: 200 };
  const flat = new Float32Array(40_000).fill(0.3);
  const coverage = { ...size, data: new Float32Array(40_000).fill(1) };
  expect(findLimbModel(plateOf({ ...size, planes: [flat] }, coverage))).toBeNull();
});
