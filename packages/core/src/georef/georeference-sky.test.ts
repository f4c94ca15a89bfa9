import { describe, expect, test } from 'vitest';
import { plateOf } from '../../test/rendered-moon.js';
import { type Affine, applyX, applyY, compose, invert } from '../compute/affine.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { plan } from '../plan/plan.js';
import type { PlanOptions } from '../plan/plan-options.js';
import type { PlateSource } from '../plate/plate-source.js';
import { planRehearsal } from '../rehearsal/plan-rehearsal.js';
import type { TrackPlace } from '../rehearsal/settings.js';
import { DEG, dot, fromSphere, signedDeg } from '../sky/angles.js';
import type { BodyFrame } from '../sky/body-frame.js';
import { ephemeris } from '../sky/ephemeris.js';
import { type Site, standardAir } from '../sky/types.js';
import { bodyToPlate, roundDisc } from './body-pose.js';
import { bodyPoseOf } from './describe-where.js';
import { groundUnder, newGround } from './disc-sampler.js';
import { georeference, type PlacedBody } from './georeference.js';
import { type PassWay, wayOf } from './pass-way.js';
import { sizeFromWays } from './size-from-ways.js';

const HIGH: Setting = { site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 }, month: 3 };
/** Where the summer's Moon stays within twelve degrees of the horizon, and the air flattens it by a pixel. */
const LOW: Setting = { site: { latitudeDeg: 56, longitudeDeg: 8, heightM: 20 }, month: 6 };
const WIDTH = 900;

interface Setting {
  readonly site: Site;
  readonly month: number;
}

/** A night whose frames lie where the ephemeris of every moment puts them, and a plate of a smooth lit sphere for it. */
interface Night {
  readonly source: PlateSource;
  readonly ways: readonly PassWay[];
  readonly date: Date;
  readonly site: Site;
  /** From the disc's plane to the plate. */
  readonly disc: Affine;
  /** Of the disc as it would be without air, plate px. */
  readonly radiusPx: number;
}

/** Frames of the plan's own passes; none of the drift, bend or turn that is to be found goes in (see `planRehearsal`). */
function nightOf({ site, month }: Setting, fromDeg: number, toDeg: number): Night {
  const options: PlanOptions = {
    site,
    optics: { focalLengthMm: 2000 },
    sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
    from: new Date(Date.UTC(2031, month - 1, 1)),
    to: new Date(Date.UTC(2031, month - 1, 30)),
    wish: { elongation: { fromDeg, toDeg }, leastAltitudeDeg: 5, sky: 'any' },
  };
  const { shots } = plan(options);
  const how = planRehearsal(options, shots!, { framesPerCrossing: 24 });
  const first = ephemeris('Moon', new Date(shots!.passes[0]!.middleMs), site);
  const axisDeg = first.parallacticAngleDeg - first.frame!.axisPositionAngleDeg;
  const middle = how.tracks[0]![how.tracks[0]!.length >> 1]!;
  const date = new Date(middle.utc!);
  const size = { width: WIDTH, height: WIDTH };
  // The plate has the geometry of the first pass' middle frame, moved so that the disc's centre is its middle.
  const reference = frameOnTruth(middle, how.frameWidthPx, how.frameHeightPx);
  const toPlate = centred(invert(reference), WIDTH / 2 + 7.3, WIDTH / 2 - 4.6);
  const ways = how.tracks.flatMap((track) => {
    const frames = track.map((place) => ({
      pose: compose(toPlate, frameOnTruth(place, how.frameWidthPx, how.frameHeightPx)),
      ...{ widthPx: how.frameWidthPx, heightPx: how.frameHeightPx, utc: place.utc! },
    }));
    return wayOf(frames) ?? [];
  });
  const disc = compose(toPlate, roundDisc(0, 0, how.discDiameterPx / 2, axisDeg));
  return {
    source: sphere(disc, ephemeris('Moon', date, site).frame!, size),
    ways,
    date,
    site,
    disc,
    radiusPx: how.discDiameterPx / 2,
  };
}

/** A frame's pose on the truth, counted from the disc's centre. */
function frameOnTruth({ cx, cy, thetaDeg, squeeze }: TrackPlace, width: number, height: number): Affine {
  const [sin, cos] = [Math.sin(thetaDeg * DEG), Math.cos(thetaDeg * DEG)];
  const [xx, xy, yx, yy] = [cos, -sin, squeeze * sin, squeeze * cos];
  const [w, h] = [(width - 1) / 2, (height - 1) / 2];
  return { xx, xy, yx, yy, tx: cx - xx * w - xy * h, ty: cy - yx * w - yy * h };
}

function centred(map: Affine, x: number, y: number): Affine {
  return { ...map, tx: x, ty: y };
}

/** Lommel–Seeliger light on an even sphere, soft by two pixels, over a faint sky. */
function sphere(disc: Affine, frame: BodyFrame, { width, height }: { width: number; height: number }): PlateSource {
  const { subObserver, subSolar, distanceKm, radiusKm } = frame;
  const under = groundUnder({ subObserver, distanceRadii: distanceKm / radiusKm });
  const ground = newGround();
  const sun = fromSphere(subSolar!.longitudeDeg, subSolar!.latitudeDeg);
  const observer = fromSphere(subObserver.longitudeDeg, subObserver.latitudeDeg);
  const back = invert(disc);
  const data = new Float32Array(width * height);
  const FINE = 3;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let k = 0; k < FINE * FINE; k++) {
        const px = x + ((k % FINE) - 1) / FINE;
        const py = y + (Math.floor(k / FINE) - 1) / FINE;
        if (!under(applyX(back, px, py), applyY(back, px, py), ground)) continue;
        const normal = fromSphere(ground.longitudeDeg, ground.latitudeDeg);
        const [down, up] = [dot(normal, sun), Math.max(0.01, dot(normal, observer))];
        if (down > 0) sum += (0.8 * down) / (down + up);
      }
      data[y * width + x] = 0.004 + sum / FINE ** 2;
    }
  }
  return plateOf(gaussianBlur({ width, height, data }, 1.2).data, width, height);
}

function placed({ source, ways, date, site }: Night): PlacedBody {
  const moment = { date, site, air: standardAir(site.heightM) };
  const found = georeference({ source, body: 'Moon', moment, date, ways, map: null });
  if (!found.known) throw new Error(found.detail);
  return found;
}

describe.each([
  ['half', HIGH, 80, 100],
  ['nearly full', HIGH, 168, 179],
  ['low', LOW, 120, 160],
] as const)('site, clock and drift alone, a %s Moon', (_, setting, fromDeg, toDeg) => {
  test('disc, north and ground are where they are', () => {
    const night = nightOf(setting, fromDeg, toDeg);
    const found = placed(night);
    expect(found.from).toBe('sky');
    expect(Math.hypot(found.discToPlate.tx - night.disc.tx, found.discToPlate.ty - night.disc.ty)).toBeLessThan(0.3);
    const trueAxis = Math.atan2(night.disc.xy, -night.disc.yy) / DEG;
    expect(Math.abs(signedDeg(found.axisDeg - trueAxis))).toBeLessThan(0.05);
    const truth = bodyPoseOf({ ...found, discToPlate: night.disc }, 'Moon');
    const pose = bodyPoseOf(found, 'Moon');
    const radius = Math.hypot(night.disc.xx, night.disc.yx);
    for (let longitudeDeg = -60; longitudeDeg <= 60; longitudeDeg += 30) {
      for (let latitudeDeg = -60; latitudeDeg <= 60; latitudeDeg += 30) {
        const [a, b] = [
          bodyToPlate(pose, { longitudeDeg, latitudeDeg }),
          bodyToPlate(truth, { longitudeDeg, latitudeDeg }),
        ];
        expect(Math.hypot(a.x - b.x, a.y - b.y) / radius).toBeLessThan(1e-3);
      }
    }
  });
});

test.each([HIGH, LOW])('the speed of the drift tells the size of the disc', (setting) => {
  const { ways, date, site, radiusPx } = nightOf(setting, 80, 160);
  const moment = { site, air: standardAir(site.heightM) };
  const size = sizeFromWays('Moon', ways, moment, ephemeris('Moon', date, site).frame!)!;
  expect(Math.abs(size.radiusPx / radiusPx - 1)).toBeLessThan(3e-4);
  expect(size.sigmaPx / radiusPx).toBeLessThan(3e-4);
  const still = ways.map((way) => ({ ...way, speed: null }));
  expect(sizeFromWays('Moon', still, moment, ephemeris('Moon', date, site).frame!)).toBeNull();
});

test('a clock that runs a tenth too fast does not make the disc larger', () => {
  const night = nightOf(HIGH, 80, 100);
  const fast = night.ways.map((way) => ({
    ...way,
    speed: way.speed && { ...way.speed, pxPerS: 1.1 * way.speed.pxPerS },
  }));
  const radiusOf = (ways: readonly PassWay[]): number => placed({ ...night, ways }).discToPlate.xx;
  expect(radiusOf(fast)).toBe(radiusOf(night.ways.map((way) => ({ ...way, speed: null }))));
});

test('passes that went the other way put the Sun on the wrong side, which is noticed', () => {
  const { source, ways, date, site } = nightOf(HIGH, 80, 100);
  const turned = ways.map((way) => ({ ...way, headingDeg: way.headingDeg + 180 }));
  const moment = { date, site, air: standardAir(site.heightM) };
  expect(georeference({ source, body: 'Moon', moment, date, ways: turned, map: null })).toMatchObject({
    known: false,
    reason: 'not-as-the-sky',
  });
});

test('without a way and without a map nothing tells north', () => {
  const source = plateOf(new Float32Array(100 * 100), 100, 100);
  const date = new Date('2031-03-01T20:00:00Z');
  const moment = { date, site: HIGH.site, air: undefined };
  expect(georeference({ source, body: 'Moon', moment, date, ways: [], map: null })).toMatchObject({
    known: false,
    reason: 'no-way',
  });
});
