import { describe, expect, it } from 'vitest';
import { IDENTITY } from '../compute/affine.js';
import type { TrackedPass } from '../registration/track-stage.js';
import type { CoverMap } from './cover-map.js';
import { darkFrames } from './dark-frames.js';

/** A map of which all ground right of x = 200 is lit. */
const map: CoverMap = (() => {
  const [width, height] = [150, 30];
  const light = new Float32Array(width * height).map((_, i) => (4 * (i % width) >= 200 ? 1 : 0.01));
  const frames = new Uint16Array(width * height).fill(1);
  return { cellPx: 4, x0: 0, y0: 0, width, height, frames, sharp: frames, light };
})();

/** Frames of 100 x 80 px, each 20 px farther to the right than the one before, of which some could be used. */
function passOf(count: number, used: readonly number[]): TrackedPass {
  const all = Array.from({ length: count }, (_, index) => ({ index, item: `frame ${index}` }));
  const frames = used.map((index) => ({
    ...all[index]!,
    pose: { ...IDENTITY, tx: 20 * index },
    proxy: { width: 100, height: 80 },
  }));
  return { graded: { frames: all }, frames } as unknown as TrackedPass;
}

describe('darkFrames', () => {
  it('tells frames that show dark ground from those that should have been recognised', () => {
    // Frame 5 shows none of the lit ground, 6 and 7 a fifth and two fifths of it.
    const found = darkFrames(passOf(16, [8, 9, 10, 12, 13, 14, 15]), IDENTITY, map);
    expect([...found].sort()).toEqual([0, 1, 2, 3, 4, 5].map((i) => `frame ${i}`));
  });

  it('follows the drift beyond what lies nearest', () => {
    const { x0: _, ...rest } = map;
    // The same ground 60 px farther to the right: three frames later.
    const found = darkFrames(passOf(16, [12, 14]), IDENTITY, { ...rest, x0: 60 });
    expect(found.has('frame 8')).toBe(true);
    expect(found.has('frame 9')).toBe(false);
    expect(found.has('frame 13')).toBe(false);
  });

  it('excuses nothing where the way is not known', () => {
    expect(darkFrames(passOf(8, [7]), IDENTITY, map).size).toBe(0);
    expect(darkFrames(passOf(8, [6, 7]), null, map).size).toBe(0);
  });
});
