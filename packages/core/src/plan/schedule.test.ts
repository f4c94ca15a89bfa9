import fc from 'fast-check';
import { expect, test } from 'vitest';
import { follow } from '../../test/locked-camera.js';
import { DEG } from '../sky/angles.js';
import { ephemeris } from '../sky/ephemeris.js';
import type { InFrame } from '../sky/locked-camera.js';
import { PLAN_DEFAULTS } from './plan-defaults.js';
import { type PlanOptions, type Rig, rigOf } from './plan-options.js';
import type { PlannedPass, ShotList } from './plan-types.js';
import { type Schedule, type Span, schedule } from './schedule.js';
import { shotList } from './shot-list.js';

const NIGHT_MS = 86_400_000;
const MOMENTS = 25;

interface Night {
  readonly options: PlanOptions;
  readonly atMs: number;
  readonly halfMin: number;
  readonly leastAltitudeDeg: number;
}

const from = new Date('2026-01-01T00:00:00Z');
const nights: fc.Arbitrary<Night> = fc.record({
  atMs: fc.integer({ min: Date.UTC(2024, 0, 1), max: Date.UTC(2036, 0, 1) }),
  halfMin: fc.integer({ min: 5, max: 150 }),
  leastAltitudeDeg: fc.integer({ min: 2, max: 60 }),
  options: fc.record(
    {
      from: fc.constant(from),
      to: fc.constant(from),
      body: fc.constantFrom('moon', 'moon', 'moon', 'sun', 'jupiter'),
      site: fc.record({
        latitudeDeg: fc.integer({ min: -66, max: 66 }),
        longitudeDeg: fc.integer({ min: -180, max: 180 }),
        heightM: fc.integer({ min: 0, max: 3000 }),
      }),
      optics: fc.record({
        focalLengthMm: fc.integer({ min: 500, max: 9000 }),
        reducer: fc.constantFrom(0.63, 1, 2),
        apertureMm: fc.integer({ min: 60, max: 400 }),
      }),
      sensor: fc.record({
        widthPx: fc.integer({ min: 600, max: 8192 }),
        heightPx: fc.integer({ min: 600, max: 6000 }),
        pitchUm: fc.constantFrom(2.4, 3.76, 5.5, 9),
      }),
      pointingErrorArcsec: fc.integer({ min: 0, max: 150 }),
      overlap: fc.constantFrom(0, 0.1, 0.15, 0.3, 0.5),
      framesPerSecond: fc.constantFrom(0.5, 23.976, 24, 60),
      reaimS: fc.constantFrom(0, 45, 60, 200),
      rollDeg: fc.integer({ min: -180, max: 180 }),
    },
    { requiredKeys: ['from', 'to', 'body', 'site', 'optics', 'sensor'] },
  ) as fc.Arbitrary<PlanOptions>,
});

/** A span about the first moment after `atMs` at which the body is high enough; its ends are at least a degree high. */
function spanOf(rig: Rig, { atMs, halfMin, leastAltitudeDeg }: Night): Span | null {
  const altitude = (at: number): number => ephemeris(rig.body, new Date(at), rig.site).altitudeDeg;
  let bestMs = atMs;
  while (altitude(bestMs) < leastAltitudeDeg) {
    bestMs += 1_800_000;
    if (bestMs > atMs + 2 * NIGHT_MS) return null;
  }
  let halfMs = halfMin * 60_000;
  while (altitude(bestMs - halfMs) < 1 || altitude(bestMs + halfMs) < 1) halfMs /= 2;
  return { startMs: Math.ceil(bestMs - halfMs), endMs: Math.floor(bestMs + halfMs), bestMs };
}

/** Whether the frame's side across the drift is its height; then ground counts as covered that crosses its upright midline. */
const acrossIsHeight = (rig: Rig, { xPxPerS, yPxPerS }: PlannedPass): boolean =>
  rig.heightPx * Math.abs(xPxPerS) >= rig.widthPx * Math.abs(yPxPerS);

/** Where a path crosses the midline, arcseconds along it. */
function atMidline(path: readonly InFrame[], height: boolean): number {
  const along = (point: InFrame): number => (height ? point.x : point.y);
  const across = (point: InFrame): number => (height ? point.y : point.x);
  for (let k = 1; k < path.length; k++) {
    const [a, b] = [path[k - 1]!, path[k]!];
    if (along(a) <= 0 === along(b) <= 0) continue;
    return across(a) + ((across(b) - across(a)) * along(a)) / (along(a) - along(b));
  }
  return Number.NaN;
}

interface Case {
  readonly rig: Rig;
  readonly span: Span;
  readonly found: Schedule;
  readonly shots: ShotList;
}

const cameraOf = ({ shots }: Case, k: number) => ({
  altitudeDeg: shots.passes[k]!.aim.altitudeDeg,
  azimuthDeg: shots.passes[k]!.aim.azimuthDeg,
  rollFromVerticalDeg: shots.camera.rollFromVerticalDeg,
});

/** Moments of a pass, and of a share of its length before and after it. */
const momentsOf = ({ found }: Case, k: number, share = 0): number[] => {
  const { startMs, driftS } = found.passes[k]!;
  const spanMs = 1000 * driftS * (1 + 2 * share);
  return Array.from({ length: MOMENTS }, (_, i) => startMs - 1000 * driftS * share + (spanMs * i) / (MOMENTS - 1));
};

const LIMB = Array.from({ length: 36 }, (_, k) => k * 10 * DEG);

/** Every place of the limb, and of the sky beyond it across the drift, is in some pass for any error of any aim. */
function expectCovered(one: Case): void {
  const { rig, shots, found } = one;
  const scale = shots.camera.scaleArcsecPerPx;
  const error = rig.pointingErrorArcsec;
  const first = found.passes[0]!.standing;
  // Sky beyond the limb is asked for across the drift alone.
  const [c, s] = [first.driftWest, first.driftNorth];
  const ring = LIMB.map((turn) => {
    const [along, across] = [Math.cos(turn), Math.sin(turn) * (1 + 0.9 * PLAN_DEFAULTS.skyMargin)];
    return { west: along * c - across * s, north: along * s + across * c };
  });
  const disc = [0.25, 0.5, 0.75].flatMap((share) =>
    ring.map(({ west, north }) => ({ west: west * share, north: north * share })),
  );
  const places = [...ring, ...disc, { west: 0, north: 0 }];
  const sure = places.map(() => false);
  shots.passes.forEach((pass, k) => {
    const height = acrossIsHeight(rig, pass);
    const half = ((height ? rig.heightPx : rig.widthPx) * scale) / 2;
    // An error square to the drift moves the crossing of the midline most.
    const slope = Math.abs((height ? pass.xPxPerS : pass.yPxPerS) / pass.speedPxPerS);
    follow(rig, cameraOf(one, k), momentsOf(one, k), places).forEach((path, p) => {
      if (Math.abs(atMidline(path, height)) + error / slope <= half + 1e-6) sure[p] = true;
    });
  });
  // Ground that only one of two neighbours shows for sure is shown by both together: their errors are single shifts.
  expect(sure.filter((yes) => !yes).length).toBe(0);
}

/** By how much the least overlap of neighbours on the disc is above what is asked, when their aims err away from each other. */
function leastOverlap(one: Case): { least: number; seams: number } {
  const { rig, shots, found } = one;
  const scale = shots.camera.scaleArcsecPerPx;
  let least = Number.POSITIVE_INFINITY;
  let seams = 0;
  for (let k = 0; k + 1 < shots.passes.length; k++) {
    const [a, b] = [shots.passes[k]!, shots.passes[k + 1]!];
    const { driftWest: c, driftNorth: s } = found.passes[k]!.standing;
    const [heightA, heightB] = [acrossIsHeight(rig, a), acrossIsHeight(rig, b)];
    // Seldom does the side across the drift change from one pass to the next.
    if (heightA !== heightB) continue;
    const side = (heightA ? rig.heightPx : rig.widthPx) * scale;
    const slope = Math.abs((heightA ? a.xPxPerS : a.yPxPerS) / a.speedPxPerS);
    const across = Array.from({ length: 21 }, (_, i) => (i - 10) / 10);
    const columns = [-0.95, -0.5, 0, 0.5, 0.95];
    const places = columns.flatMap((along) =>
      across.map((y) => ({ west: along * c - y * s, north: along * s + y * c })),
    );
    const crossings = [k, k + 1].map((pass) =>
      follow(rig, cameraOf(one, pass), momentsOf(one, pass, 0.5), places).map((path) => atMidline(path, heightA)),
    );
    for (const [at, along] of columns.entries()) {
      const crossing = crossings.map((all) => all.slice(at * across.length, (at + 1) * across.length));
      // Across the drift upwards in the frame or downwards: the same in both passes.
      // Places far beside a frame cross the line of its midline at another time.
      const reached = crossing[0]!.filter((value) => !Number.isNaN(value));
      const sign = Math.sign(reached.at(-1)! - reached[0]!);
      // How far below the upper edge of pass a is the place that the lower edge of pass b shows?
      const [inA, inB] = crossing.map((path) => path.map((value) => sign * value)) as [number[], number[]];
      for (let i = 1; i < across.length; i++) {
        const t = (-side / 2 - inB[i - 1]!) / (inB[i]! - inB[i - 1]!);
        if (!(t >= 0 && t <= 1) || Math.hypot(along, across[i - 1]! + 0.1 * t) > 1) continue;
        const overlap = slope * (side / 2 - inA[i - 1]! - (inA[i]! - inA[i - 1]!) * t) - 2 * rig.pointingErrorArcsec;
        least = Math.min(least, overlap / side - rig.overlap);
        seams++;
      }
    }
  }
  return { least, seams };
}

/**
 * Whether two passes fewer would cover the disc, with the margins that the plan names: passes of the mean band, none wider
 * than with the frame turned as it was asked for.
 */
function coversWithTwoFewer({ rig, shots, found }: Case): boolean {
  const { pointingArcsec, skyArcsec, shearArcsec, bendArcsec, breathArcsec } = shots.margins;
  const count = shots.passes.length - 2;
  if (count < 1) return false;
  const side = Math.max(...found.passes.map(({ standing }) => standing.sideArcsec));
  const seen = found.passes[0]!.standing.limb.map(({ across }) => across);
  const need = Math.max(...seen) - Math.min(...seen) + 2 * skyArcsec;
  const asked = shots.passes[0]!.bandArcsec;
  const bands = shots.passes.reduce((sum, { bandArcsec }) => sum + Math.min(asked, bandArcsec), 0);
  const sure = bands / shots.passes.length - 2 * (pointingArcsec + bendArcsec + breathArcsec);
  return count * sure - (count - 1) * (rig.overlap * side + shearArcsec) >= need;
}

test('500 nights: the disc is covered wherever the aims err, overlaps hold, with the fewest passes, in time', () => {
  const seen = { feasible: 0, several: 0, refused: 0, seams: 0 };
  fc.assert(
    fc.property(nights, (night) => {
      const rig = rigOf(night.options);
      const span = spanOf(rig, night);
      if (span === null) return;
      const found = schedule(rig, span);
      if ('reason' in found) {
        seen.refused++;
        expect(found.reason).toMatch(/take|leave nothing|more than/);
        return;
      }
      const shots = shotList(rig, found, 1, undefined);
      const one: Case = { rig, span, found, shots };
      seen.feasible++;
      if (shots.passes.length > 1) seen.several++;
      expectCovered(one);
      const { least, seams } = leastOverlap(one);
      seen.seams += seams;
      expect(least).toBeGreaterThanOrEqual(-1e-4);
      expect(coversWithTwoFewer(one)).toBe(false);
      let free = span.startMs;
      for (const pass of shots.passes) {
        expect(Date.parse(pass.start.utc)).toBeGreaterThanOrEqual(free);
        expect(Date.parse(pass.end.utc) - Date.parse(pass.start.utc)).toBe(1000 * pass.driftS);
        expect(Math.abs(pass.frames - pass.driftS * rig.framesPerSecond)).toBeLessThanOrEqual(0.5);
        free = Date.parse(pass.end.utc) + 1000 * rig.reaimS;
      }
      expect(Date.parse(shots.passes.at(-1)!.end.utc)).toBeLessThanOrEqual(span.endMs);
      expect(JSON.parse(JSON.stringify(shots))).toEqual(shots);
    }),
    { numRuns: 500, seed: 20_310_304 },
  );
  expect(seen.feasible).toBeGreaterThan(200);
  expect(seen.several).toBeGreaterThan(100);
  expect(seen.refused).toBeGreaterThan(20);
  expect(seen.seams).toBeGreaterThan(1000);
}, 600_000);
