import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createPlane, type Plane } from './image.js';
import { findKeypoints } from './keypoints.js';

function blob(x: number, y: number, sigmaPx: number, height: number): Plane {
  const plane = createPlane(120, 100);
  for (let i = 0; i < plane.data.length; i++) {
    const r2 = ((i % 120) - x) ** 2 + (Math.floor(i / 120) - y) ** 2;
    plane.data[i] = 0.5 + height * Math.exp(-r2 / (2 * sigmaPx * sigmaPx));
  }
  return plane;
}

describe('findKeypoints', () => {
  it('finds a round blob, bright or dark, at its place and size', () => {
    const blobs = fc.record({
      x: fc.double({ min: 45, max: 75, noNaN: true }),
      y: fc.double({ min: 40, max: 60, noNaN: true }),
      sigmaPx: fc.double({ min: 2.5, max: 6, noNaN: true }),
      height: fc.constantFrom(0.3, -0.3),
    });
    fc.assert(
      fc.property(blobs, ({ x, y, sigmaPx, height }) => {
        const [found] = findKeypoints(blob(x, y, sigmaPx, height), 1);
        // Placed by a parabola on a grid of 1 to 4 px.
        expect(Math.hypot(found!.x - x, found!.y - y)).toBeLessThan(0.1 * sigmaPx);
        // A difference of Gaussians is deepest where its middle blur is the blob's, a sixth of an octave above the lower.
        expect(Math.abs(Math.log2(found!.sigmaPx / sigmaPx))).toBeLessThan(0.35);
      }),
      { seed: 5, numRuns: 25 },
    );
  });

  it('finds nothing on even ground, on a slope and along a straight edge', () => {
    const planes = [0, 1, 2].map(() => createPlane(80, 80));
    for (let i = 0; i < 6400; i++) {
      planes[0]!.data[i] = 0.4;
      planes[1]!.data[i] = (i % 80) / 80;
      planes[2]!.data[i] = i % 80 < 40 ? 0.2 : 0.8;
    }
    for (const plane of planes) expect(findKeypoints(plane, 100)).toEqual([]);
    expect(findKeypoints(createPlane(10, 10), 100)).toEqual([]);
  });

  it('gives the strongest first and no more than asked', () => {
    const plane = blob(30, 50, 3, 0.2);
    const second = blob(90, 50, 3, 0.3);
    for (let i = 0; i < plane.data.length; i++) plane.data[i]! += second.data[i]! - 0.5;
    const [first, next] = findKeypoints(plane, 2);
    expect(first!.x).toBeCloseTo(90, 0);
    expect(next!.x).toBeCloseTo(30, 0);
    expect(first!.strength).toBeGreaterThan(next!.strength);
    expect(findKeypoints(plane, 1)).toEqual([first]);
  });
});
