import { describe, expect, test } from 'vitest';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { createPlane, type LinearImage, type Plane } from '../compute/image.js';
import { findGaps } from './gaps.js';

const scratch = useScratch();

const WIDTH = 400;
const HEIGHT = 300;
const names = ['lower', 'upper'];

/** A disc of light on a dark sky; covered where `covered` says; the upper half belongs to strip 1. */
function scene(radius: number, covered: (x: number, y: number) => boolean) {
  const plane = createPlane(WIDTH, HEIGHT);
  const coverage = createPlane(WIDTH, HEIGHT);
  const owner = new Uint8Array(WIDTH * HEIGHT).fill(255);
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      if (!covered(x, y)) continue;
      const i = y * WIDTH + x;
      coverage.data[i] = 1;
      owner[i] = y < HEIGHT / 2 ? 1 : 0;
      plane.data[i] = Math.hypot(x - 200, y - 150) < radius ? 0.4 : 0.01;
    }
  }
  const image: LinearImage = { width: WIDTH, height: HEIGHT, planes: [plane.data] };
  return { image, coverage, owner };
}

function gapsOf({ image, coverage, owner }: { image: LinearImage; coverage: Plane; owner: Uint8Array }) {
  const plate = plateFrom(scratch('plate.f32'), image, coverage);
  return findGaps(plate, (x, y) => owner[y * WIDTH + x]!, names);
}

describe('findGaps', () => {
  test('a disc with sky all around is whole', () => {
    expect(gapsOf(scene(120, () => true))).toEqual([]);
  });

  test('uncovered sky is no gap', () => {
    expect(gapsOf(scene(100, (x, y) => x > 60 && y > 20))).toEqual([]);
  });

  test('a band without light between two strips is one gap, with its place', () => {
    const gaps = gapsOf(scene(120, (_, y) => y < 140 || y > 160));
    expect(gaps.map((gap) => gap.where)).toEqual(['between the passes "upper" and "lower"']);
    const { x, y, width, height } = gaps[0]!.box!;
    expect(y).toBeLessThanOrEqual(140);
    expect(y + height).toBeGreaterThanOrEqual(160);
    // The chord of the disc at the band, 238 px, to within the cells that the plate is looked at in.
    expect(Math.abs(x - 81)).toBeLessThan(4);
    expect(Math.abs(width - 238)).toBeLessThan(6);
  });

  test('ground cut off by an edge of the plate is named by side and pass', () => {
    expect(gapsOf(scene(170, () => true)).map((gap) => gap.where)).toEqual([
      'at the upper edge of the pass "upper"',
      'at the lower edge of the pass "lower"',
    ]);
    const right = gapsOf(scene(120, (x, y) => x < 250 && y > 150));
    expect(right.map((gap) => gap.where).sort()).toEqual([
      'at the right edge of the pass "lower"',
      'at the upper edge of the pass "lower"',
    ]);
  });

  test('a limb that comes within a few px of the edge is whole', () => {
    // Cells of a plate this size are 3 px; the disc ends within the last cell, a px above the edge.
    const wide = { width: 1200, height: 300 };
    const plane = createPlane(wide.width, wide.height);
    const coverage = createPlane(wide.width, wide.height);
    coverage.data.fill(1);
    for (let i = 0; i < plane.data.length; i++) {
      plane.data[i] = Math.hypot((i % 1200) - 600, Math.floor(i / 1200) - 150) < 148.2 ? 0.4 : 0.01;
    }
    const image: LinearImage = { ...wide, planes: [plane.data] };
    expect(findGaps(plateFrom(scratch('plate.f32'), image, coverage), () => 0, names)).toEqual([]);
  });

  test('ground that ends in the dark, beyond the terminator, is whole', () => {
    const { image, coverage, owner } = scene(140, (x) => x > 120);
    // The terminator: light falls to nothing towards the edge of the coverage.
    for (let i = 0; i < coverage.data.length; i++) {
      const x = i % WIDTH;
      image.planes[0]![i]! *= Math.max(0, Math.min(1, (x - 140) / 100));
    }
    expect(gapsOf({ image, coverage, owner })).toEqual([]);
  });
});
