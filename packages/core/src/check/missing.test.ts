import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { CoverMap } from './cover-map.js';
import { brightLight, type CommonDisc, findMissing } from './missing.js';

/** How far beyond an edge the middle of frames may lie. */
const REACH_PX = 80;
const OCTANTS = [
  'on the right',
  'at the lower right',
  'at the bottom',
  'at the lower left',
  'on the left',
  'at the upper left',
  'at the top',
  'at the upper right',
];
const disc: CommonDisc = { x: 400, y: 400, radiusPx: 320 };

/** A full disc on a map of cells of 4 px, covered where `isCovered` says, in radii from its middle. */
function mapOf(isCovered: (right: number, down: number) => boolean): CoverMap {
  const side = 200;
  const frames = new Uint16Array(side * side);
  const light = new Float32Array(side * side);
  for (let i = 0; i < side * side; i++) {
    const [right, down] = [((i % side) + 0.5) * 4 - disc.x, (Math.floor(i / side) + 0.5) * 4 - disc.y].map(
      (px) => px / disc.radiusPx,
    ) as [number, number];
    if (!isCovered(right, down)) continue;
    frames[i] = 5;
    light[i] = Math.hypot(right, down) <= 1 ? 0.8 : 0;
  }
  return { cellPx: 4, x0: 0, y0: 0, width: side, height: side, frames, sharp: frames, light };
}

describe('findMissing', () => {
  it('finds nothing where all is covered, or where sky alone is not', () => {
    expect(
      findMissing(
        mapOf(() => true),
        disc,
        REACH_PX,
      ),
    ).toEqual([]);
    expect(
      findMissing(
        mapOf((right, down) => Math.hypot(right, down) < 1.1),
        disc,
        REACH_PX,
      ),
    ).toEqual([]);
  });

  it('takes the noise of the dark side of a thin crescent for no lit ground, where no limb tells the disc', () => {
    // What is covered ends on the dark side.
    const map = mapOf((right, down) => right > -0.7 && Math.hypot(right, down) < 2);
    const light = map.light.map((_, i) => {
      const [right, down] = [((i % 200) + 0.5) / 80 - 1.25, (Math.floor(i / 200) + 0.5) / 80 - 1.25];
      const isLit = Math.hypot(right, down) < 1 && Math.hypot(right + 0.05, down) > 1;
      return map.frames[i] === 0 ? 0 : isLit ? 0.3 : 0.0005 * ((i * 7919) % 11);
    });
    expect(brightLight({ ...map, light })).toBeGreaterThan(0.1);
    expect(findMissing({ ...map, light }, null, REACH_PX)).toEqual([]);
  });

  it('finds a cap of any height at any side, and its share of the disc', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.1, max: 0.9, noNaN: true }), fc.integer({ min: 0, max: 7 }), (height, octant) => {
        const angle = (octant * Math.PI) / 4;
        const edge = 1 - height;
        const map = mapOf((right, down) => right * Math.cos(angle) + down * Math.sin(angle) < edge);
        const parts = findMissing(map, disc, REACH_PX);
        expect(parts).toHaveLength(1);
        // Area of a segment of the unit circle over that of the circle.
        const share = (Math.acos(edge) - edge * Math.sqrt(1 - edge ** 2)) / Math.PI;
        expect(Math.abs(parts[0]!.share! - share)).toBeLessThan(0.004);
        // Half of the cap's height beyond the edge, or as far as frames reach.
        const out = edge + Math.min(height / 2, REACH_PX / disc.radiusPx);
        expect(parts[0]!.aim.right).toBeCloseTo(out * Math.cos(angle), 1);
        expect(parts[0]!.aim.down).toBeCloseTo(out * Math.sin(angle), 1);
        expect(parts[0]!.where).toBe(OCTANTS[octant]);
      }),
      { numRuns: 40, seed: 7 },
    );
  });

  it('names the side that is missing, not the one that the edge of what is shown lies on', () => {
    // Lit on the right; the lower two fifths are shown.
    const map = mapOf((_, down) => down > 0.2);
    const light = map.light.map((value, i) => (((i % 200) + 0.5) * 4 > disc.x ? value : 0.001));
    const [part, ...more] = findMissing({ ...map, light }, disc, REACH_PX);
    expect(more).toEqual([]);
    expect(part!.where).toBe('at the upper right');
    expect(part!.aim.down).toBeCloseTo(0.2 - REACH_PX / disc.radiusPx, 1);
  });

  it('takes the two edges of a band for one part, and says where', () => {
    const [part, ...more] = findMissing(
      mapOf((_, down) => Math.abs(down) > 0.15),
      disc,
      REACH_PX,
    );
    expect(more).toEqual([]);
    expect(part!.where).toBe('in the middle');
    expect(part!.share).toBeCloseTo(0.19, 2);
  });

  it('says that ground is cut off where no limb tells how much', () => {
    const [part] = findMissing(
      mapOf((_, down) => down < 0.5),
      null,
      REACH_PX,
    );
    expect(part).toMatchObject({ share: null, where: 'at the bottom' });
  });
});
