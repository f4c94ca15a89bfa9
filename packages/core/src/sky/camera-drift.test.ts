import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { cameraDrift, crossingTimeS, longestExposureS, rollingShutter } from './camera-drift.js';
import { type Drift, drift } from './drift.js';
import { ephemeris } from './ephemeris.js';

const site = { latitudeDeg: 34.2, longitudeDeg: -118.1, heightM: 1700 };
const date = new Date('2025-03-07T09:00:00Z');
const moon = drift('Moon', date, site);
/** 0.25"/px. */
const camera = { focalLengthMm: 2400, pitchUm: 2.9089, angleDeg: 0 };

test('north up, the Moon drifts to the right at 14.5"/s cos δ', () => {
  const motion = cameraDrift(moon, camera);
  expect(motion.scaleArcsecPerPx).toBeCloseTo(0.25, 5);
  expect(motion.xPxPerS).toBeCloseTo(moon.westArcsecPerS / motion.scaleArcsecPerPx, 9);
  expect(motion.yPxPerS).toBeCloseTo(-moon.northArcsecPerS / motion.scaleArcsecPerPx, 9);
  expect(motion.speedPxPerS * motion.scaleArcsecPerPx).toBeCloseTo(moon.speedArcsecPerS, 9);
});

test('turning the camera turns the drift the other way', () => {
  // The upper edge points east: what goes west goes down.
  const east = cameraDrift(moon, { ...camera, angleDeg: 90 });
  const upright = cameraDrift(moon, camera);
  expect(east.yPxPerS).toBeCloseTo(upright.xPxPerS, 9);
  expect(east.xPxPerS).toBeCloseTo(-upright.yPxPerS, 9);
  const half = cameraDrift(moon, { ...camera, angleDeg: 180 });
  expect(half.xPxPerS).toBeCloseTo(-upright.xPxPerS, 9);
});

test('in a levelled camera the Moon climbs as its altitude does', () => {
  const here = ephemeris('Moon', date, site);
  const later = ephemeris('Moon', new Date(date.getTime() + 10_000), site);
  const motion = cameraDrift(moon, { ...camera, angleDeg: here.parallacticAngleDeg });
  const climb = ((later.altitudeDeg - here.altitudeDeg) * 3600) / 10;
  expect(-motion.yPxPerS * motion.scaleArcsecPerPx).toBeCloseTo(climb, 2);
});

test('known figures: half a pixel at 0.25"/px takes 8.6 ms on the equator; 4096 px take over a minute', () => {
  const still: Drift = { ...moon, westArcsecPerS: 14.5, northArcsecPerS: 0, speedArcsecPerS: 14.5 };
  const motion = cameraDrift(still, camera);
  expect(longestExposureS(motion)).toBeCloseTo(0.0086, 4);
  expect(longestExposureS(motion, 1)).toBe(2 * longestExposureS(motion));
  expect(crossingTimeS(motion, 4096)).toBeCloseTo((4096 * 0.25) / 14.5, 2);
});

test('a rolling shutter shears and squeezes as rows read one after the other do', () => {
  const motion = cameraDrift(moon, { ...camera, angleDeg: 40 });
  const { shearPxPerRow, verticalScale } = rollingShutter(motion, 16, 2160);
  // A point at (0, y0) is recorded in the row that is read just when it is there.
  const rowS = 0.016 / 2160;
  const recorded = [0, 1000].map((y0) => {
    let row = y0;
    for (let round = 0; round < 50; round++) row = y0 + motion.yPxPerS * row * rowS;
    return { x: motion.xPxPerS * row * rowS, row };
  });
  expect(verticalScale).toBeCloseTo((recorded[1]!.row - recorded[0]!.row) / 1000, 12);
  expect(shearPxPerRow).toBeCloseTo((recorded[1]!.x - recorded[0]!.x) / (recorded[1]!.row - recorded[0]!.row), 12);
});

test('the rotation is that of the body, and of the field for a planet', () => {
  expect(cameraDrift(moon, camera).rotationDegPerS).toBe(moon.bodyRotationDegPerS);
  const mars = drift('Mars', date, site);
  expect(cameraDrift(mars, camera).rotationDegPerS).toBe(mars.fieldRotationDegPerS);
});

test('what cannot be is refused', () => {
  const motion = cameraDrift(moon, camera);
  for (const call of [
    () => cameraDrift(moon, { ...camera, focalLengthMm: 0 }),
    () => cameraDrift(moon, { ...camera, pitchUm: -3 }),
    () => cameraDrift(moon, { ...camera, angleDeg: Number.NaN }),
    () => longestExposureS(motion, 0),
    () => crossingTimeS(motion, -1),
    () => rollingShutter(motion, 16, 0),
    () => rollingShutter(motion, -1, 100),
  ]) {
    expect(call).toThrow(UsageError);
    expect(call).toThrow(/give a number from/);
  }
});
