import { describe, expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { ephemeris } from '../sky/ephemeris.js';
import { skyWindows } from '../sky/windows.js';
import { plan } from './plan.js';
import { momentIn } from './plan-clock.js';
import type { PlanOptions } from './plan-options.js';
import { dataNote, shotNotes } from './plan-words.js';

const options: PlanOptions = {
  site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 2000, apertureMm: 200 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5, readoutMs: 15, bitDepth: 12 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-31T00:00:00Z'),
};
const site = { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 };

describe('windows', () => {
  test('a named feature near the terminator, a wish about the phase: the windows hold what was wished', () => {
    const { windows, windowsFound } = plan({ ...options, wish: { feature: { name: 'copernicus', withinDeg: 6 } } });
    expect(windowsFound).toBeGreaterThan(0);
    for (const { best, reasons, rank } of windows) {
      expect(reasons.join()).toMatch(/the Sun [0-6]\.\d° above the horizon of Copernicus/);
      expect(ephemeris('Moon', new Date(best.utc), site).sunAltitudeDeg).toBeLessThan(-17.9);
      expect(windows[rank - 1]!.rank).toBe(rank);
    }
  });

  test('like a date: the same light, and how far libration differs', () => {
    const like = new Date('2029-11-15T19:00:00Z');
    const then = ephemeris('Moon', like, site);
    const { windows } = plan({ ...options, wish: { like } });
    expect(windows.length).toBeGreaterThan(0);
    for (const { best, reasons } of windows) {
      const now = ephemeris('Moon', new Date(best.utc), site);
      const light = now.terminator!.colongitudeDeg - then.terminator!.colongitudeDeg;
      expect(Math.abs(light)).toBeLessThan(6.2);
      const north = Math.abs(now.frame!.subObserver.latitudeDeg - then.frame!.subObserver.latitudeDeg);
      expect(reasons.at(-2)).toContain(`${north.toFixed(1)}° in latitude`);
      expect(reasons.at(-2)).toContain('against 2029-11-15: colongitude');
    }
  });

  test('of other bodies: from the moment at which they are high enough in a dark sky to that at which they no longer are', () => {
    const { windows } = plan({ ...options, body: 'jupiter', wish: { leastAltitudeDeg: 10 } });
    expect(windows.length).toBeGreaterThan(3);
    for (const { start, end, best, reasons } of windows) {
      for (const { utc } of [start, end]) {
        const { altitudeDeg, sunAltitudeDeg } = ephemeris('Jupiter', new Date(utc), site);
        // Ends are told to the second, in which the sky turns by 0.004 degrees.
        expect(Math.abs(Math.min(altitudeDeg - 10, -18 - sunAltitudeDeg))).toBeLessThan(0.005);
      }
      const { altitudeDeg } = ephemeris('Jupiter', new Date(best.utc), site);
      expect(reasons[0]).toBe(`Jupiter stands ${Math.round(altitudeDeg)}° high`);
    }
  });
});

describe('passes', () => {
  test('carry their figures; the first is the yardstick of the others', () => {
    const { shots, feasible, reason, assumptions } = plan(options);
    expect({ feasible, reason }).toEqual({ feasible: true, reason: null });
    const passes = shots!.passes;
    expect(passes.length).toBe(5);
    expect(passes[0]).toMatchObject({ rotationDeg: 0, flatteningChange: 0, entersAt: 'left' });
    expect(passes[0]!.extinctionStops).toEqual({ red: 0, green: 0, blue: 0 });
    for (const pass of passes) {
      expect(pass.longestExposureS * pass.speedPxPerS).toBeCloseTo(0.5, 12);
      expect(pass.dataBytes).toBe(Math.ceil(pass.frames * 2048 * 1080 * 1.5));
      expect(pass.shutter!.shearPxPerRow).toBeCloseTo((pass.xPxPerS * 0.015) / 1080, 12);
      expect(Date.parse(pass.start.local)).toBe(Date.parse(pass.start.utc));
    }
    const { red, blue } = passes.at(-1)!.extinctionStops;
    expect(Math.sign(blue)).toBe(Math.sign(passes.at(-1)!.airmass - passes[0]!.airmass));
    expect(Math.abs(blue)).toBeGreaterThan(Math.abs(red));
    expect(assumptions.join()).not.toContain('bits');
  });

  test('an exposure to start from: the full Moon by the rule, a quarter about two stops more', () => {
    const at = (fromDeg: number, toDeg: number) =>
      plan({ ...options, wish: { elongation: { fromDeg, toDeg }, leastAltitudeDeg: 10 } }).shots!.exposure!;
    const full = at(172, 188);
    expect(full.focalRatio).toBe(10);
    expect(full.phaseStops).toBeLessThan(0.35);
    expect(full.exposureS).toBeCloseTo((100 / 121 / 100) * 2 ** (full.phaseStops + full.airStops), 12);
    const quarter = at(80, 100);
    // Allen's law at 90 degrees: 2.60 magnitudes, of which 0.75 are the half that is dark: 2.05 stops.
    expect(Math.abs(quarter.phaseStops - 2.05)).toBeLessThan(0.35);
    expect(quarter.basis).toContain('a starting point only');
    const { apertureMm: _, ...dark } = options.optics!;
    expect(plan({ ...options, optics: dark }).shots!.exposure).toBeNull();
  });

  test('one pass when the disc fits in it', () => {
    const made = plan({ ...options, optics: { focalLengthMm: 400 } });
    expect(made.shots!.passes.length).toBe(1);
    expect(Math.abs(made.shots!.passes[0]!.aim.acrossArcsec)).toBeLessThan(1);
    expect(made.shots!.passes[0]!.overlapWithNext).toBeNull();
  });

  test('a disc that fits in the frame, and one of which little is seen, are told of in plain words', () => {
    const notes = (focalLengthMm: number, wish: Partial<PlanOptions> = {}): string[] => {
      const made = plan({ ...options, optics: { focalLengthMm }, ...wish });
      return shotNotes(made, made.shots!).filter((note) => /fits in the frame|very small/.test(note));
    };
    expect(notes(2000)).toEqual([]);
    // 1080 px of 5.5 um hold a disc of 0.5 degrees up to 680 mm; 60 arcseconds and a twentieth of the radius are room.
    expect(notes(640)).toEqual([]);
    expect(notes(500)).toEqual([
      expect.stringMatching(/^The whole disc fits in the frame, with \d+ px to spare on every side: /),
    ]);
    expect(notes(100)).toEqual([
      expect.stringContaining('does not have to drift through in parts'),
      expect.stringMatching(/^The disc is very small in the frame, 1\d\d px across: little will be seen on it; /),
    ]);
    expect(notes(2000, { body: 'jupiter', wish: { leastAltitudeDeg: 10 } }).length).toBe(2);
  });

  test('how much is recorded, at which rate, and how little would do', () => {
    const { shots } = plan(options);
    const { passes, totalBytes, leastFrames, leastBytes } = shots!;
    // At a dozen frames a pass or more the whole frame's length is passed in the time of four.
    for (const { driftS, speedPxPerS, reachPx } of passes)
      expect((leastFrames * reachPx) / speedPxPerS / driftS).toBeGreaterThanOrEqual(4 * passes.length);
    expect(leastFrames).toBe(60);
    expect(leastBytes).toBe(60 * 2048 * 1080 * 1.5);
    const frames = passes.reduce((sum, pass) => sum + pass.frames, 0);
    const [gb, leastGb] = [totalBytes, leastBytes].map((bytes) => (bytes / 1e9).toFixed(1));
    const least = `the least that will do, 60 frames spread evenly over the passes, is ${leastGb} GB.`;
    expect(dataNote(shots!)).toBe(`Data: ${gb} GB in ${frames} frames at 24 frames/s; ${least}`);
    expect(dataNote(shots!, 'so there')).toContain('at 24 frames/s (so there); ');
    const long = plan({ ...options, optics: { focalLengthMm: 6000 }, pointingErrorArcsec: 5, overlap: 0 }).shots!;
    expect(long.leastFrames).toBeGreaterThan(12 * long.passes.length);
  });

  test('a window that is too short, aims that are too rough, no window at all: a reason each', () => {
    const [start] = skyWindows(options.from, options.to, site, { leastAltitudeDeg: 20, sky: 'dark' });
    const short = { from: start!.start, to: new Date(start!.start.getTime() + 600_000) };
    const tooShort = plan({ ...options, ...short });
    expect(tooShort).toMatchObject({ feasible: false, shots: null, neededPasses: 5 });
    expect(tooShort.reason).toMatch(/^the disc needs 5 passes, which take 2\d min .*the window lasts 10 min$/);
    const rough = plan({ ...options, pointingErrorArcsec: 300 });
    expect(rough.reason).toContain('aim more truly');
    const none = plan({ ...options, wish: { leastAltitudeDeg: 89 } });
    expect(none).toMatchObject({ feasible: false, windows: [], shots: null });
    expect(none.reason).toContain('no window was found');
  });
});

describe('the Sun', () => {
  test('as the body, or over the horizon: a warning on the windows and the plan', () => {
    const sun = plan({ ...options, body: 'sun' });
    expect(sun.sun!.causes).toContain('SUN_IS_AIM');
    expect(sun.sun!.warning).toContain('certified full-aperture filter');
    expect(sun.shots!.disc.phaseAngleDeg).toBeNull();
    expect(sun.windows.every((window) => window.sun !== null)).toBe(true);
    const nowhere = plan({ ...options, body: 'sun', wish: { leastAltitudeDeg: 89 } });
    expect(nowhere.windows).toEqual([]);
    expect(nowhere.sun!.causes).toContain('SUN_IS_AIM');
    const day = plan({ ...options, wish: { sky: 'any' } });
    expect(day.sun!.causes).toContain('SUN_IS_UP');
    const crescent = plan({
      ...options,
      wish: { sky: 'twilight', elongation: { fromDeg: 8, toDeg: 28 }, leastAltitudeDeg: 4 },
    });
    expect(crescent.sun!.causes).toContain('SUN_IS_NEAR');
    expect(plan(options).sun).toBeNull();
  });
});

test('a planet is a plain disc in one pass', () => {
  const made = plan({ ...options, body: 'jupiter', wish: { leastAltitudeDeg: 10 } });
  expect(made.shots!.passes.length).toBe(1);
  expect(made.shots!.exposure).toBeNull();
  expect(made.assumptions).toContain('Jupiter as a plain disc');
});

test('plain data, the same for the same question', () => {
  const made = plan({ ...options, wish: { feature: { name: 'Copernicus' } } });
  expect(JSON.parse(JSON.stringify(made))).toEqual(made);
  expect(plan({ ...options, wish: { feature: { name: 'Copernicus' } } })).toEqual(made);
});

test.each<[Partial<PlanOptions>, RegExp]>([
  [{ site: {} }, /^site\.latitudeDeg, site\.longitudeDeg are missing; give a number for each$/],
  [
    { site: { latitudeDeg: 1 }, optics: {}, sensor: { widthPx: 9 } },
    /^site\.longitudeDeg, optics\.focalLengthMm, sensor\.heightPx, sensor\.pitchUm are missing/,
  ],
  [{ optics: {} }, /^optics\.focalLengthMm is missing; give a number$/],
  [{ sensor: { widthPx: 10, heightPx: 1080, pitchUm: 5 } }, /sensor\.widthPx is 10/],
  [{ optics: { focalLengthMm: 20 } }, /from corner to corner/],
  [{ body: 'pluto' as 'moon' }, /body is pluto; give one of moon/],
  [{ site: { ...options.site, timeZone: 'Europe/Zürich' } }, /did you mean Europe\/Zurich\?/],
  [{ wish: { feature: { name: 'Copernikus' } } }, /did you mean Copernicus\?/],
  [{ wish: { like: options.from, colongitude: { fromDeg: 0, toDeg: 9 } } }, /keep one/],
  [{ body: 'sun', wish: { like: options.from } }, /which the Moon alone has/],
  [{ wish: { sky: 'bright' as 'dark' } }, /sky is bright/],
  [{ window: 99 }, /window is 99; give a whole number from 1 to \d+/],
  [
    { to: options.from },
    /^from is 2031-03-01T00:00:00.000Z and to is 2031-03-01T00:00:00.000Z, which does not come later; /,
  ],
  [{ to: new Date('2033-03-31T00:00:00Z') }, /761 days; give one of up to 400 days/],
  [{ overlap: 0.9 }, /overlap is 0.9/],
])('%j is refused', (given, message) => {
  expect(() => plan({ ...options, ...given })).toThrow(UsageError);
  expect(() => plan({ ...options, ...given })).toThrow(message);
});

test('clocks of zones, of offsets, and where they are put forward', () => {
  const at = (zone: string, utc: string): string => momentIn(zone, Date.parse(utc)).local;
  expect(at('Europe/Zurich', '2031-03-30T00:59:59Z')).toBe('2031-03-30T01:59:59+01:00');
  expect(at('Europe/Zurich', '2031-03-30T01:00:00Z')).toBe('2031-03-30T03:00:00+02:00');
  expect(at('America/St_Johns', '2031-01-01T00:00:00Z')).toBe('2030-12-31T20:30:00-03:30');
  expect(at('+05:30', '2031-01-01T00:00:00Z')).toBe('2031-01-01T05:30:00+05:30');
  expect(momentIn('UTC', Date.parse('2031-01-01T00:00:00.600Z')).utc).toBe('2031-01-01T00:00:01Z');
});
