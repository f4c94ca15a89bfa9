import { expect, test } from 'vitest';
import { stringify } from 'yaml';
import { parseSettings } from '../capture/settings-read.js';
import { UsageError } from '../job/errors.js';
import { plan } from '../plan/plan.js';
import type { PlanOptions } from '../plan/plan-options.js';
import { planRehearsal } from './plan-rehearsal.js';
import { completeSettings, type TrackPlace } from './settings.js';

const options: PlanOptions = {
  site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 },
  optics: { focalLengthMm: 2000 },
  sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-04T00:00:00Z'),
  pointingErrorArcsec: 0,
};
const shots = plan(options).shots!;

/** Where the disc's centre is in a frame, px from its middle. */
function discIn({ cx, cy, thetaDeg, squeeze }: TrackPlace): { x: number; y: number } {
  const [c, s] = [Math.cos((thetaDeg * Math.PI) / 180), Math.sin((thetaDeg * Math.PI) / 180)];
  return { x: -cx * c - (cy / squeeze) * s, y: cx * s - (cy / squeeze) * c };
}

test('true aims: the disc drifts through the frames as the plan says, though nothing of its drift goes in', () => {
  const { tracks, frameWidthPx, frameHeightPx, discDiameterPx, ...rest } = planRehearsal(options, shots);
  expect(completeSettings({ tracks, frameWidthPx, frameHeightPx, discDiameterPx, ...rest }).tracks).toBe(tracks);
  expect(tracks.length).toBe(shots.passes.length);
  expect(frameHeightPx).toBe(480);
  const binned = 2160 / 480;
  expect(discDiameterPx).toBeCloseTo((2 * shots.disc.radiusPx) / binned, 9);
  shots.passes.forEach((pass, k) => {
    const track = tracks[k]!;
    const [first, last] = [discIn(track[0]!), discIn(track.at(-1)!)];
    const seconds = pass.driftS * binned;
    // The path bends by a px or two, and the drift slows by a part in a thousand.
    expect(Math.abs((last.x - first.x) / seconds - pass.xPxPerS / binned ** 2)).toBeLessThan(0.003);
    expect(Math.abs((last.y - first.y) / seconds - pass.yPxPerS / binned ** 2)).toBeLessThan(0.003);
    // In the middle the disc's centre stands beside the frame's by the aim.
    const middle =
      track.length % 2 === 1
        ? [discIn(track[track.length >> 1]!)]
        : track.slice(track.length / 2 - 1, track.length / 2 + 1).map(discIn);
    const across = middle.reduce((sum, { y }) => sum + y, 0) / middle.length;
    expect(Math.abs(across - pass.aim.acrossArcsec / shots.camera.scaleArcsecPerPx / binned)).toBeLessThan(1);
  });
  const turns = tracks.map(
    (track) => track[track.length >> 1]!.thetaDeg - tracks[0]![tracks[0]!.length >> 1]!.thetaDeg,
  );
  // The disc turns anticlockwise in the frame where the frame turns clockwise on the disc, as theta counts.
  turns.forEach((turn, k) => {
    expect(Math.abs(turn - shots.passes[k]!.rotationDeg)).toBeLessThan(0.1);
  });
});

test('the settings of the capture are those of the plan, of a sensor with the pixels of the frames', () => {
  const site = { ...options.site, timeZone: 'Europe/Zurich', clockOffsetS: 3, pressureHPa: 880, temperatureC: -4 };
  const optics = { name: 'borrowed', focalLengthMm: 4000, apertureMm: 203, reducer: 0.5 };
  const { captureSettings, frameWidthPx, discDiameterPx } = planRehearsal({ ...options, site, optics }, shots);
  const { sensor } = captureSettings;
  const { clockOffsetS: _, ...place } = site;
  expect(captureSettings).toEqual({
    body: 'moon',
    site: place,
    optics,
    sensor: { widthPx: 910, heightPx: 480, pitchUm: 24.75 },
  });
  expect(frameWidthPx).toBe(910);
  // They give the scale at which the disc is drawn.
  const arcsecPerPx = Math.atan(sensor.pitchUm / 1000 / 2000) * (648_000 / Math.PI);
  expect(Math.abs((discDiameterPx * arcsecPerPx) / (2 * shots.disc.radiusArcsec) - 1)).toBeLessThan(1e-6);
  const { site: atSea, sensor: own } = planRehearsal(
    { ...options, site: { latitudeDeg: 46.6, longitudeDeg: 8 } },
    shots,
    {
      shorterSidePx: 2160,
    },
  ).captureSettings;
  expect([atSea!.heightM, own]).toEqual([0, options.sensor]);
});

test('the settings of small frames, whose pixels stand for many, can be read', () => {
  const { captureSettings } = planRehearsal(options, shots, { shorterSidePx: 96 });
  expect(captureSettings.sensor.pitchUm).toBeGreaterThan(100);
  expect(parseSettings(stringify(captureSettings), 'capture.yaml')).toEqual(captureSettings);
});

test('aims err within the stated bound, the same for the same seed', () => {
  const wrong = { ...options, pointingErrorArcsec: 60 };
  const { shots: loose } = plan(wrong);
  const places = (seed: number, from: PlanOptions): TrackPlace[] =>
    planRehearsal(from, loose!, { seed }).tracks.map((track) => track[0]!);
  expect(places(1, wrong)).toEqual(places(1, wrong));
  const limitPx = 60 / loose!.camera.scaleArcsecPerPx / (2160 / 480);
  for (const seed of [1, 2, 3]) {
    const exact = places(seed, options);
    places(seed, wrong).forEach((place, k) => {
      const off = Math.hypot(place.cx - exact[k]!.cx, place.cy - exact[k]!.cy);
      expect(off).toBeGreaterThan(0);
      expect(off).toBeLessThan(1.01 * limitPx);
    });
  }
});

test('other bodies are refused', () => {
  const sun: PlanOptions = { ...options, body: 'sun' };
  expect(() => planRehearsal(sun, plan(sun).shots!)).toThrow(UsageError);
});
