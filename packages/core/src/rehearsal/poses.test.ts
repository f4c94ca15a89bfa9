import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createRandom } from '../compute/random.js';
import { UsageError } from '../job/errors.js';
import { driftAlong, passCentres, passNames, planPasses } from './poses.js';
import { completeSettings, REHEARSAL_DEFAULTS } from './settings.js';

const calm = { tiltPx: 0, warpPx: 0, blurPx: [0, 0], correlationFrames: 0, correlationShare: 0.2 } as const;

describe('driftAlong', () => {
  it('turns the field by theta * tan(delta): 0.27 degrees over half a degree at 28.5 degrees', () => {
    const settings = { discDiameterPx: 518, declinationDeg: 28.5 };
    const across = driftAlong(settings, 250).turnDeg - driftAlong(settings, -250).turnDeg;
    expect(across).toBeCloseTo(0.5 * Math.tan((28.5 * Math.PI) / 180), 12);
    expect(across).toBeCloseTo(0.27, 2);
  });

  it('bends the path by the sagitta theta^2 * tan(delta) / 8', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -30, max: 30, noNaN: true }),
        fc.integer({ min: 300, max: 4000 }),
        (declinationDeg, discDiameterPx) => {
          const half = 0.43 * discDiameterPx;
          const theta = (((2 * half * 0.518) / discDiameterPx) * Math.PI) / 180;
          const sagittaPx = driftAlong({ declinationDeg, discDiameterPx }, half).bendPx;
          const expected = ((theta * theta * Math.tan((declinationDeg * Math.PI) / 180)) / 8) * ((2 * half) / theta);
          expect(sagittaPx).toBeCloseTo(expected, 9);
        },
      ),
      { seed: 1 },
    );
  });

  it('agrees with the sphere: a camera that stands still, a disc on its circle of declination', () => {
    const declinationDeg = 25;
    const delta = (declinationDeg * Math.PI) / 180;
    const pxPerRadian = (1000 / 0.518) * (180 / Math.PI);
    const hourAngle = 0.006;
    // Camera (hour angle 0) in the tangent plane of the disc (hour angle h): east and north of the disc's centre.
    const cosDistance = Math.sin(delta) ** 2 + Math.cos(delta) ** 2 * Math.cos(hourAngle);
    const east = (Math.cos(delta) * Math.sin(hourAngle)) / cosDistance;
    const north = (Math.sin(delta) * Math.cos(delta) * (1 - Math.cos(hourAngle))) / cosDistance;
    const { bendPx, turnDeg } = driftAlong({ discDiameterPx: 1000, declinationDeg }, east * pxPerRadian);
    // Third-order terms stay below a thousandth of a pixel and of a degree here.
    expect(bendPx).toBeCloseTo(north * pxPerRadian, 3);
    expect(turnDeg).toBeCloseTo((hourAngle * Math.sin(delta) * 180) / Math.PI, 3);
  });
});

describe('planPasses', () => {
  it('has as many passes as the lit ground needs, lowest first, sharing at least the overlap', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 300, max: 4000 }),
        fc.integer({ min: 200, max: 3456 }),
        fc.double({ min: 0.05, max: 0.5, noNaN: true }),
        (tall, frameHeightPx, overlap) => {
          const settings = completeSettings({ frameHeightPx, overlap });
          const centres = passCentres(settings, tall);
          expect(centres[0]! + frameHeightPx / 2).toBeGreaterThan(tall / 2);
          expect(centres.at(-1)! - frameHeightPx / 2).toBeLessThan(-tall / 2);
          for (let k = 1; k < centres.length; k++) {
            const step = centres[k - 1]! - centres[k]!;
            expect(step).toBeGreaterThan(0);
            expect(step).toBeLessThanOrEqual(frameHeightPx * (1 - overlap) + 1e-9);
          }
        },
      ),
      { seed: 2 },
    );
  });

  it('refuses to omit a pass that there is not, or all', () => {
    const settings = completeSettings({ frameHeightPx: 500 });
    const plan = (omitPasses: number[]) =>
      planPasses({ ...settings, omitPasses }, { width: 700, height: 1150 }, createRandom(5));
    const count = plan([]).length;
    expect(() => plan([count])).toThrow(`omitPasses has ${count}; there are ${count} passes, counted from 0`);
    expect(() => plan([0.5])).toThrow(UsageError);
    expect(() => plan(Array.from({ length: count }, (_, i) => i))).toThrow('omitPasses leaves no pass');
  });

  it('names passes by place, and leaves a gap where one is omitted without changing the others', () => {
    const settings = completeSettings({ passes: 3, frameHeightPx: 500 });
    const size = { width: 700, height: 1150 };
    const whole = planPasses(settings, size, createRandom(5));
    const torn = planPasses({ ...settings, omitPasses: [1] }, size, createRandom(5));
    expect(whole.map((p) => p.name)).toEqual(['lower', 'middle', 'upper']);
    expect(torn).toEqual([whole[0], whole[2]]);
    expect(passNames(2)).toEqual(['lower', 'upper']);
    expect(passNames(12)[3]).toBe('pass-04');
  });

  it('runs across the lit ground, squeezes over the night, rolls as told', () => {
    const settings = completeSettings({ passes: 2, seeing: calm, rotationsDeg: [0.25, -0.5], declinationDeg: 0 });
    const [lower, upper] = planPasses(settings, { width: 800, height: 1140 }, createRandom(1));
    expect(new Set(lower!.poses.map((p) => p.theta_deg))).toEqual(new Set([0.25]));
    expect(upper!.poses[3]!.theta_deg).toBe(-0.5);
    expect(lower!.poses.at(-1)!.cx - lower!.poses[0]!.cx).toBeCloseTo(0.86 * 1140, 9);
    expect(lower!.poses[0]!.cy).toBeGreaterThan(upper!.poses[0]!.cy);
    expect(lower!.poses[0]!.squeeze).toBe(REHEARSAL_DEFAULTS.squeeze[0]);
    expect(upper!.poses.at(-1)!.squeeze).toBe(REHEARSAL_DEFAULTS.squeeze[1]);
  });
});
