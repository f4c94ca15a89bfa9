import { describe, expect, it } from 'vitest';
import { type BlendStrip, blendStrips as blend } from '../../test/blend-in-process.js';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf } from '../../test/scene-field.js';
import { useScratch } from '../../test/scratch.js';
import type { Plane } from '../compute/image.js';

const scratch = useScratch();
const blendStrips = (strips: readonly BlendStrip[], width: number, height: number) =>
  blend(scratch, strips, width, height);
const scene = createSceneField({ seed: 'blend', widthPx: 360, heightPx: 260 });
/** Weight that rises from 0 at the strip's edge over 30 px, as stacking gives it. */
const feathered = (width: number, height: number) => (x: number, y: number) =>
  Math.min(1, Math.min(x, y, width - 1 - x, height - 1 - y) / 30);

/** A strip that shows the scene at its place on the plate; light is 0 where weight is. */
function stripOf(
  [x0, y0, width, height]: readonly [number, number, number, number],
  light: (x: number, y: number) => number,
  weightAt: (x: number, y: number) => number = feathered(width, height),
): BlendStrip {
  const weight = planeOf(width, height, weightAt);
  const plane = planeOf(width, height, (x, y) => (weight.data[y * width + x]! > 0 ? light(x + x0, y + y0) : 0));
  return { x0, y0, image: { width, height, planes: [plane.data] }, weight };
}

const truth = (x: number, y: number): number => scene.at(x + 20, y + 20);
const coveredBy = (strips: readonly BlendStrip[], width: number, height: number): Plane =>
  planeOf(width, height, (x, y) =>
    strips.some(({ x0, y0, weight }) => {
      const [u, v] = [x - x0, y - y0];
      return u >= 0 && v >= 0 && u < weight.width && v < weight.height && weight.data[v * weight.width + u]! > 0;
    })
      ? 1
      : 0,
  );

describe('blendStrips', () => {
  it('gives a single strip back to the bit, and 0 around it', () => {
    const strip = stripOf([12, 7, 90, 60], truth);
    const { image, coverage, levels } = blendStrips([strip], 120, 80);
    expectSamples(coverage.data, coveredBy([strip], 120, 80).data);
    // Strips hold products of light and weight.
    const weightAt = feathered(90, 60);
    const expected = planeOf(120, 80, (x, y) => {
      const weight = Math.fround(weightAt(x - 12, y - 7));
      return coverage.data[y * 120 + x]! ? Math.fround(Math.fround(truth(x, y)) * weight) / weight : 0;
    });
    expectSamples(image.planes[0]!, expected.data);
    expect(levels).toBe(0);
  });

  it('gives the strip back when two equal ones are joined', () => {
    const strip = stripOf([12, 7, 200, 150], truth);
    const { image, coverage, levels } = blendStrips([strip, strip], 240, 170);
    expect(levels).toBeGreaterThanOrEqual(5);
    const expected = planeOf(240, 170, (x, y) => (coverage.data[y * 240 + x]! ? truth(x, y) : 0));
    // Light up to 1 taken apart into bands and added up again in Float32.
    expectSamples(image.planes[0]!, expected.data, 2e-6);
  });

  it('gives the ground back when strips that agree overlap in part', () => {
    const strips = [
      stripOf([0, 0, 190, 200], truth),
      stripOf([110, 10, 210, 190], truth),
      stripOf([60, 120, 180, 100], truth),
    ];
    const { image, coverage } = blendStrips(strips, 320, 220);
    const covered = coveredBy(strips, 320, 220);
    expectSamples(coverage.data, covered.data);
    let worst = 0;
    covered.data.forEach((c, i) => {
      const off = c === 1 ? image.planes[0]![i]! - truth(i % 320, Math.floor(i / 320)) : image.planes[0]![i]!;
      if (c === 0) expect(off).toBe(0);
      worst = Math.max(worst, Math.abs(off));
    });
    // Each strip is continued by a guess beyond its edge, which the coarse bands carry a little way in.
    expect(worst).toBeLessThan(AGREEING);
  });

  it('spreads a difference in level over the overlap without a step', () => {
    const strips = [stripOf([0, 0, 190, 120], () => 0.4), stripOf([110, 0, 210, 120], () => 0.44)];
    const { image, coverage } = blendStrips(strips, 320, 120);
    const at = (x: number, y: number): number => image.planes[0]![y * 320 + x]!;
    let step = 0;
    for (let y = 1; y < 119; y++) {
      for (let x = 2; x < 318; x++) {
        if (coverage.data[y * 320 + x] === 0 || coverage.data[y * 320 + x - 1] === 0) continue;
        step = Math.max(step, Math.abs(at(x, y) - at(x - 1, y)));
        expect(at(x, y)).toBeGreaterThan(0.4 - 1e-5);
        expect(at(x, y)).toBeLessThan(0.44 + 1e-5);
      }
    }
    // 0.04 over the 80 px that both cover; a hard seam would be 0.04, an even ramp 0.0005.
    expect(step).toBeLessThan(0.0025);
    expect(at(60, 60)).toBeCloseTo(0.4, 3);
    expect(at(250, 60)).toBeCloseTo(0.44, 3);
  });

  it('shows no step at a bright edge that one strip has softer than the other', () => {
    // A limb that runs down through the seam between the two.
    const edge = (sigmaPx: number) => (x: number, _: number) => 0.4 / (1 + Math.exp((x - 100) / sigmaPx));
    const strips = [stripOf([0, 0, 200, 130], edge(0.6)), stripOf([0, 70, 200, 130], edge(1.8))];
    const { image } = blendStrips(strips, 200, 200);
    let step = 0;
    for (let y = 20; y < 180; y++) {
      for (let x = 90; x < 110; x++) {
        step = Math.max(step, Math.abs(image.planes[0]![y * 200 + x]! - image.planes[0]![(y - 1) * 200 + x]!));
      }
    }
    // The strips differ by 0.07 there: a hard cut shows that, one at the edge of a strip's coverage half of it.
    expect(step).toBeLessThan(0.02);
  });

  it('lets no black in at the edge of the coverage, hole and limb included', () => {
    const round = (x: number, y: number): number =>
      Math.hypot(x - 70, y - 60) < 58 && Math.hypot(x - 50, y - 60) > 6 ? 1 : 0;
    const strips = [stripOf([3, 2, 150, 120], () => 0.5, round), stripOf([60, 10, 100, 100], () => 0.5)];
    const { image, coverage } = blendStrips(strips, 170, 130);
    // Even light in, even light out, to Float32 rounding, up to the last covered pixel.
    const expected = planeOf(170, 130, (x, y) => (coverage.data[y * 170 + x]! ? 0.5 : 0));
    expectSamples(image.planes[0]!, expected.data, 2e-6);
    expectSamples(coverage.data, coveredBy(strips, 170, 130).data);
  });

  it('keeps the light of specks of coverage far from everything else', () => {
    const speck = (x: number, y: number): number => (x === 3 && y === 4 ? 1 : 0);
    const wide = [0, 0, 300, 260] as const;
    const strips = [
      stripOf(
        wide,
        () => 0.5,
        (x, y) => (x > 150 ? 1 : speck(x, y)),
      ),
      stripOf(
        wide,
        () => 0.5,
        (x) => (x > 152 ? 0.5 : 0),
      ),
    ];
    const { image, levels } = blendStrips(strips, 300, 260);
    expect(levels).toBeGreaterThanOrEqual(6);
    expect(image.planes[0]![4 * 300 + 3]).toBeCloseTo(0.5, 5);
  });

  it('takes every pixel from the strip with the most weight when nothing coarse is shared', () => {
    const left = stripOf(
      [0, 0, 60, 40],
      () => 0.2,
      () => 1,
    );
    const right = stripOf(
      [60, 0, 60, 40],
      () => 0.8,
      () => 1,
    );
    const { image, levels } = blendStrips([left, right], 120, 40);
    expect(levels).toBe(3);
    // The three finest bands reach 24 px.
    for (const x of [0, 20, 36]) expect(image.planes[0]![20 * 120 + x]).toBeCloseTo(0.2, 5);
    for (const x of [84, 100, 119]) expect(image.planes[0]![20 * 120 + x]).toBeCloseTo(0.8, 5);
  });

  it('gives the same bits for any order of tiles, and passes on what a strip covers alone', () => {
    const strips = [
      stripOf([0, 0, 700, 260], truth),
      stripOf([560, 20, 640, 230], (x, y) => 1.02 * truth(x, y) + 0.003),
    ];
    const { image, coverage } = blendStrips(strips, 1200, 260);
    const again = blendStrips(strips, 1200, 260);
    expectSamples(again.image.planes[0]!, image.planes[0]!);
    // A seam between two tiles (at 512 px) would be a step: the ratio to the truth changes nowhere by more than the
    // difference of the strips over the overlap.
    const ratio = (x: number, y: number): number => image.planes[0]![y * 1200 + x]! - truth(x, y);
    for (let y = 30; y < 240; y++) {
      for (let x = 505; x < 520; x++) {
        if (coverage.data[y * 1200 + x] === 0) continue;
        expect(Math.abs(ratio(x, y) - ratio(x - 1, y))).toBeLessThan(1e-3);
      }
    }
  });

  it('joins channels each by itself and leaves its inputs alone', () => {
    const grey = [stripOf([0, 0, 100, 80], truth), stripOf([40, 0, 100, 80], (x, y) => 1.1 * truth(x, y))];
    const colour = grey.map((s) => ({
      ...s,
      image: { ...s.image, planes: [s.image.planes[0]!, s.image.planes[0]!.map((v) => v / 2)] },
    }));
    const before = colour.map((s) => s.image.planes.map((p) => p.slice()));
    const { image } = blendStrips(colour, 140, 80);
    expectSamples(image.planes[0]!, blendStrips(grey, 140, 80).image.planes[0]!);
    expectSamples(
      image.planes[1]!,
      image.planes[0]!.map((v) => v / 2),
      1e-7,
    );
    colour.forEach((s, k) => {
      s.image.planes.forEach((p, c) => {
        expectSamples(p, before[k]![c]!);
      });
    });
  });
});

/** Measured 0.02, for light of 0.25 whose blobs differ by a third of it. */
const AGREEING = 0.03;
