import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import type { LocalSharpness } from '../quality/local-sharpness.js';
import { chooseSharp, weightAt } from './sharp-weights.js';

function localOf(signalToNoise: number, spread = 0.15): LocalSharpness {
  const random = createRandom(4);
  const size = 30 * 20;
  const frames = Array.from({ length: 12 }, () =>
    Float32Array.from({ length: size }, () => Math.exp(spread * random.normal())),
  );
  const lit = frames.map(() => new Uint8Array(size).fill(1));
  return { x0: 8, y0: 8, stepPx: 16, columns: 30, rows: 20, frames, lit, signalToNoise };
}

describe('chooseSharp', () => {
  it('prefers sharp moments the more, the less noise there is', () => {
    const powers = [0.02, 0.3, 3, 1000].map((snr) => chooseSharp(localOf(snr)).power);
    expect(powers).toEqual([...powers].sort((a, b) => a - b));
    expect(powers[0]).toBeLessThanOrEqual(2);
    expect(powers.at(-1)).toBe(4);
  });

  it('says what each power gives: the first gives the best ratio of signal to noise', () => {
    const { trades } = chooseSharp(localOf(0.3, 0.1));
    const ratio = (t: (typeof trades)[number]): number => t.sharpness / t.noise;
    const best = trades.reduce((a, b) => (ratio(b) > ratio(a) ? b : a));
    expect(best.power).toBe(1);
    for (let i = 1; i < trades.length; i++) {
      expect(trades[i]!.sharpness).toBeGreaterThan(trades[i - 1]!.sharpness);
      expect(trades[i]!.noise).toBeGreaterThan(trades[i - 1]!.noise);
    }
    expect(trades[0]).toMatchObject({ power: 0, sharpness: expect.closeTo(1, 9), noise: expect.closeTo(1, 9) });
  });

  it('has nothing to choose among frames that share no lit ground', () => {
    const local = localOf(1);
    const dark = { ...local, lit: local.lit.map((l) => l.map(() => 0)) };
    for (const t of chooseSharp(dark).trades) expect(t).toMatchObject({ sharpness: 1, noise: 1, fidelity: 1 });
  });
});

describe('weightAt', () => {
  it('is full from a sharpness of 1.3 on and follows the power below', () => {
    const local = localOf(1);
    local.frames[0]!.fill(1.3);
    local.frames[1]!.fill(0.65);
    expect(weightAt(local, 3, 0, 100, 100)).toBeCloseTo(1, 5);
    expect(weightAt(local, 3, 1, 100, 100)).toBeCloseTo(0.125, 5);
    expect(weightAt(local, 3, 1, -500, 900)).toBeCloseTo(0.125, 5);
  });
});
