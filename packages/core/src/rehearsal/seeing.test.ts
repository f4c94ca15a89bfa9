import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { blurTrack, tiltTrack, warpAt, warpSequence } from './seeing.js';

const seeing = { tiltPx: 1.5, warpPx: 0.8, blurPx: [0.9, 1.6], correlationFrames: 1.5, correlationShare: 0.2 } as const;

describe('warpSequence', () => {
  it('has the asked rms, memory and reach', () => {
    const next = warpSequence(seeing, 600, 400, createRandom(3));
    let power = 0;
    let lagged = 0;
    let near = 0;
    let far = 0;
    let count = 0;
    let before: number[] = [];
    for (let frame = 0; frame < 60; frame++) {
      const field = next(frame)!;
      const here: number[] = [];
      for (let y = 30; y < 400; y += 45) {
        for (let x = 30; x < 500; x += 45) {
          const [dx, dy] = warpAt(field, x, y);
          const [beyond] = warpAt(field, x + 80, y);
          const [close] = warpAt(field, x + 8, y);
          power += dx * dx + dy * dy;
          far += dx * beyond;
          near += dx * close;
          count++;
          here.push(dx);
        }
      }
      if (before.length > 0) lagged += here.reduce((sum, v, k) => sum + v * before[k]!, 0);
      before = here;
    }
    const variance = power / count / 2;
    // Some 60 independent fields of about 12 patches each: 5 % is three standard deviations of the rms.
    expect(Math.abs(Math.sqrt(variance) - 0.8)).toBeLessThan(0.05);
    expect(near / count / variance).toBeGreaterThan(0.9);
    // The correlation length is 0.2 * 400 px = 80 px: there, 1/e is left.
    expect(Math.abs(far / count / variance - Math.exp(-1))).toBeLessThan(0.12);
    expect(Math.abs((lagged / count / variance) * (60 / 59) - Math.exp(-1 / 1.5))).toBeLessThan(0.12);
  });

  it('is nothing at all without warps', () => {
    expect(warpSequence({ ...seeing, warpPx: 0 }, 600, 400, createRandom(3))(0)).toBeUndefined();
  });
});

describe('tracks', () => {
  it('do not depend on how many frames follow', () => {
    expect(tiltTrack(seeing, 40, createRandom(1)).slice(0, 7)).toEqual(tiltTrack(seeing, 7, createRandom(1)));
  });

  it('keep the blur between its ends and the tilt at its rms', () => {
    const blurs = blurTrack(seeing, 2000, createRandom(8));
    expect(Math.min(...blurs)).toBeGreaterThanOrEqual(0.9);
    expect(Math.max(...blurs)).toBeLessThanOrEqual(1.6);
    const tilts = tiltTrack(seeing, 2000, createRandom(8));
    const rms = Math.sqrt(tilts.reduce((sum, [x, y]) => sum + x * x + y * y, 0) / 4000);
    // About 1500 independent values: 3 % is two standard deviations; the fixed seed makes it exact.
    expect(Math.abs(rms - 1.5)).toBeLessThan(0.08);
  });
});
