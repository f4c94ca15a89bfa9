import { beforeAll, describe, expect, test } from 'vitest';
import { plateOf, type RenderedMoon, renderedMoon } from '../../test/rendered-moon.js';
import { type AlbedoMap, readAlbedoMap } from './albedo-map.js';
import { bodyToPlate, plateToBody } from './body-pose.js';
import { bodyPoseOf, describeWhere } from './describe-where.js';
import { georeference, type PlacedBody, type PlateFacts } from './georeference.js';

const MAP = '../shared/real/maps/moon-albedo-4096x2048.jpg';

let map: AlbedoMap;
beforeAll(async () => {
  map = await readAlbedoMap(MAP);
});

function factsOf({ source }: RenderedMoon): PlateFacts {
  return { source, body: 'Moon', moment: null, date: null, ways: [], map };
}

function found(facts: PlateFacts): PlacedBody {
  const placed = georeference(facts);
  if (!placed.known) throw new Error(placed.detail);
  return placed;
}

describe.each(['open_halves', 'open_clips'])('the rendered surface of %s, with a map and nothing else', (name) => {
  test('is placed where it is', { timeout: 120_000 }, async () => {
    const moon = await renderedMoon(name);
    const { disc, geometry, check_points } = moon.truth;
    const placed = found(factsOf(moon));
    // The scene is drawn at 1.25 times the frames' scale, in which the bars are stated.
    const { discToPlate } = placed;
    expect(Math.hypot(discToPlate.tx - disc.centre_px[0], discToPlate.ty - disc.centre_px[1]) / 1.25).toBeLessThan(0.3);
    expect(Math.abs(placed.axisDeg + geometry.position_angle_deg)).toBeLessThan(0.05);
    expect(Math.abs(placed.subObserver.longitudeDeg - geometry.sub_observer_deg[0])).toBeLessThan(0.06);
    expect(Math.abs(placed.subObserver.latitudeDeg - geometry.sub_observer_deg[1])).toBeLessThan(0.06);
    expect(Math.abs(placed.subSolar!.longitudeDeg - geometry.sub_solar_deg[0])).toBeLessThan(2);
    const pose = bodyPoseOf(placed, 'Moon');
    const radius = disc.diameter_px / 2;
    for (const { lon, lat, x, y } of check_points) {
      const place = bodyToPlate(pose, { longitudeDeg: lon, latitudeDeg: lat });
      expect(place.visible).toBe(true);
      expect(Math.hypot(place.x - x, place.y - y) / radius).toBeLessThan(1e-3);
    }
    // What it says of its own errors holds: two sigma and a half.
    const { sigmaPx } = placed;
    expect(Math.abs(discToPlate.tx - disc.centre_px[0])).toBeLessThan(2.5 * sigmaPx.x);
    expect(Math.abs(discToPlate.ty - disc.centre_px[1])).toBeLessThan(2.5 * sigmaPx.y);
  });
});

test('a plate without a map, site and moments is not placed', async () => {
  const moon = await renderedMoon('open_halves');
  expect(georeference({ ...factsOf(moon), map: null })).toMatchObject({ known: false, reason: 'no-site' });
});

test('nor is one that the map is not like', { timeout: 60_000 }, async () => {
  const { source, truth } = await renderedMoon('open_halves');
  const { image } = source.read({ x0: 0, y0: 0, width: source.width, height: source.height });
  const mirrored = new Float32Array(image.planes[0]!.length);
  for (let y = 0; y < source.height; y++) {
    for (let x = 0; x < source.width; x++) {
      mirrored[y * source.width + x] = image.planes[0]![y * source.width + source.width - 1 - x]!;
    }
  }
  expect(truth.check_points.length).toBeGreaterThan(10);
  const facts = factsOf({ source: plateOf(mirrored, source.width, source.height), truth });
  expect(georeference(facts)).toMatchObject({ known: false, reason: 'not-as-the-map' });
});

test('nor is a picture without a disc', () => {
  const flat = plateOf(new Float32Array(300 * 200).fill(0.2), 300, 200);
  const facts = { source: flat, body: 'Moon', moment: null, date: null, ways: [], map } as const;
  expect(georeference(facts)).toMatchObject({ known: false, reason: 'no-limb' });
});

test('what a plate shows: features on it, with their places on the ground', { timeout: 60_000 }, async () => {
  const moon = await renderedMoon('open_halves');
  const facts = factsOf(moon);
  const placed = found(facts);
  const where = describeWhere(facts, placed, 'a'.repeat(64));
  const pose = bodyPoseOf(placed, 'Moon');
  // The middle of the disc is nearer than its limb, by one part in 221.
  const kmPerPx = (1737.4 / (moon.truth.disc.diameter_px / 2)) * (1 - 1 / 221);
  expect(Math.abs(where.kmPerPx / kmPerPx - 1)).toBeLessThan(5e-4);
  expect(where.colongitudeDeg!).toBeGreaterThan(355);
  const byName = new Map(where.features.map((feature) => [feature.name, feature]));
  for (const { name, x, y } of moon.truth.check_points) {
    const feature = byName.get(name)!;
    expect(Math.hypot(feature.x - x, feature.y - y)).toBeLessThan(2);
    expect(feature).toMatchObject({ lit: true, covered: true });
  }
  for (const feature of where.features.slice(0, 200)) {
    const ground = plateToBody(pose, feature.x, feature.y)!;
    expect(ground.latitudeDeg).toBeCloseTo(feature.latitudeDeg, 3);
    expect(feature.terminatorKm).toBeCloseTo(feature.terminatorDeg * ((Math.PI / 180) * 1737.4), 6);
  }
  // Nearest to the terminator first; beyond it nothing is lit.
  const nearest = where.features.map((feature) => feature.terminatorDeg);
  expect(nearest).toEqual([...nearest].sort((a, b) => a - b));
  expect(byName.get('Ptolemaeus')).toMatchObject({ lit: false });
});
