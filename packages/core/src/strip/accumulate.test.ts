import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, planeOf, renderFrame } from '../../test/scene-field.js';
import { applyX, applyY, IDENTITY, invert, poseAbout, translation } from '../compute/affine.js';
import type { Plane } from '../compute/image.js';
import { runAccumulate, type StripSums } from './accumulate.js';

const scene = createSceneField({ seed: 'accumulate', widthPx: 160, heightPx: 140, sigmaPx: [2, 5] });

function sumsOf(width: number, height: number, x0 = 0, y0 = 0): StripSums {
  return {
    width,
    height,
    x0,
    y0,
    planes: [new Float32Array(width * height)],
    weight: new Float32Array(width * height),
  };
}

const frameOf = (plane: Plane) => ({ width: plane.width, height: plane.height, planes: [plane.data] });

describe('runAccumulate', () => {
  it('adds a frame on its own grid to the bit, as far as the kernel reaches', () => {
    const plane = renderFrame(scene, translation(20, 20), 60, 40);
    const sums = sumsOf(60, 40);
    runAccumulate({ sums, rows: [0, 40], frame: frameOf(plane), plateToFrame: IDENTITY, frameWeight: 1, featherPx: 0 });
    let covered = 0;
    for (let i = 0; i < 2400; i++) {
      // The taps beside the pixel are sin(πn), 1e-16.
      if (sums.weight[i] === 0) expect(sums.planes[0]![i]).toBe(0);
      else expect(Math.abs(sums.planes[0]![i]! - plane.data[i]!)).toBeLessThan(1e-7);
      covered += sums.weight[i]!;
    }
    // Of 60 × 40 px, the kernel of radius 3 loses no more than 4 on either side.
    expect(covered).toBeGreaterThanOrEqual(52 * 32);
    expect(covered).toBeLessThanOrEqual(55 * 35);
  });

  it('keeps even light even under any pose and weight', () => {
    const pose = poseAbout({ x: 40, y: 30 }, { shiftX: 3.3, shiftY: -1.7, rotationDeg: 7, scale: 1.03 });
    const sums = sumsOf(90, 70);
    const even = frameOf(planeOf(80, 60, () => 0.7));
    runAccumulate({ sums, rows: [0, 70], frame: even, plateToFrame: invert(pose), frameWeight: 0.3, featherPx: 9 });
    const light = sums.planes[0]!.map((v, i) => (sums.weight[i]! > 0 ? v / sums.weight[i]! : 0.7));
    // Sum and weight are each rounded to Float32.
    expectSamples(light, new Float32Array(90 * 70).fill(0.7), 3e-7);
    expect(Math.max(...sums.weight)).toBeCloseTo(0.3, 6);
  });

  it('shows smooth ground where the pose says, strip offset included', () => {
    const pose = poseAbout({ x: 40, y: 30 }, { shiftX: 25.37, shiftY: 14.61, rotationDeg: 2 });
    const plane = renderFrame(scene, pose, 80, 60);
    const sums = sumsOf(90, 70, 20, 10);
    runAccumulate({
      sums,
      rows: [0, 70],
      frame: frameOf(plane),
      plateToFrame: invert(pose),
      frameWeight: 1,
      featherPx: 0,
    });
    let seen = 0;
    for (let y = 0; y < 70; y++) {
      for (let x = 0; x < 90; x++) {
        if (sums.weight[y * 90 + x] === 0) continue;
        seen++;
        // Lanczos of radius 3 on blobs of σ ≥ 2 px, positions rounded to 1/2048 px. Measured 1.7e-3.
        expect(Math.abs(sums.planes[0]![y * 90 + x]! - scene.at(x + 20, y + 10))).toBeLessThan(4e-3);
      }
    }
    expect(seen).toBeGreaterThan(3000);
  });

  it('rises smoothly from the edge to the full weight', () => {
    const sums = sumsOf(100, 80);
    const even = frameOf(planeOf(100, 80, () => 1));
    runAccumulate({ sums, rows: [0, 80], frame: even, plateToFrame: IDENTITY, frameWeight: 2, featherPx: 20 });
    const row = Array.from(sums.weight.subarray(40 * 100, 41 * 100));
    expect(row[0]).toBe(0);
    expect(row[50]).toBe(2);
    // The steepest place of 3t² − 2t³ over 20 px: 1.5 / 20 of the weight a px.
    for (let x = 1; x < 100; x++) expect(Math.abs(row[x]! - row[x - 1]!)).toBeLessThanOrEqual((2 * 1.5) / 20 + 1e-6);
    for (let x = 1; x < 30; x++) expect(row[x]!).toBeGreaterThanOrEqual(row[x - 1]!);
    // Half the weight half way up: 2 px of kernel and 10 of feather inside.
    expect(row[12]).toBeCloseTo(1, 6);
    // A quarter of the way up: 3/16 − 2/64 of the weight, less than an even rise gives.
    expect(row[7]).toBeCloseTo(0.3125, 6);
  });

  it('adds to its rows only, on top of what is there', () => {
    const even = frameOf(planeOf(40, 40, () => 0.5));
    const task = { frame: even, plateToFrame: IDENTITY, frameWeight: 1, featherPx: 0 };
    const sums = sumsOf(40, 40);
    runAccumulate({ ...task, sums, rows: [10, 20] });
    runAccumulate({ ...task, sums, rows: [15, 20] });
    const column = Array.from({ length: 40 }, (_, y) => sums.weight[y * 40 + 20]!);
    expect(column).toEqual(column.map((_, y) => (y < 10 || y >= 20 ? 0 : y < 15 ? 1 : 2)));
    expect(applyX(IDENTITY, 1, 2) + applyY(IDENTITY, 1, 2)).toBe(3);
  });
});
