import { mkdir, readdir, readFile } from 'node:fs/promises';
import { parseXml } from '@rgrove/parse-xml';
import { fromFile } from 'geotiff';
import { beforeAll, describe, expect, test } from 'vitest';
import { plateOf, type RenderedMoon, renderedMoon } from '../../test/rendered-moon.js';
import { useScratch } from '../../test/scratch.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { readAlbedoMap } from './albedo-map.js';
import { describeWhere } from './describe-where.js';
import { georeference } from './georeference.js';
import { wherePaths, writeWhere } from './write-where.js';

const scratch = useScratch();
const DEG = Math.PI / 180;
const RADIUS_M = 1_737_400;

let moon: RenderedMoon;
let where: Whereabouts;
beforeAll(async () => {
  moon = await renderedMoon('open_halves');
  const map = await readAlbedoMap('../shared/real/maps/moon-albedo-4096x2048.jpg');
  const facts = { source: moon.source, body: 'Moon', moment: null, date: null, ways: [], map } as const;
  const placed = georeference(facts);
  if (!placed.known) throw new Error(placed.detail);
  where = describeWhere(facts, placed, 'a'.repeat(64));
}, 60_000);

/** A plate that is dark but for a bright dot at the true place of each named crater. */
function dotted(): { plate: RenderedMoon['source']; points: RenderedMoon['truth']['check_points'] } {
  const points = moon.truth.check_points.filter(({ name }) => !name.startsWith('Mare'));
  const { width, height } = moon.source;
  const light = new Float32Array(width * height);
  for (const { x, y } of points) {
    for (let j = Math.floor(y) - 6; j <= y + 6; j++) {
      for (let i = Math.floor(x) - 6; i <= x + 6; i++) {
        light[j * width + i] = Math.exp(-((i - x) ** 2 + (j - y) ** 2) / (2 * 1.5 ** 2));
      }
    }
  }
  return { plate: plateOf(light, width, height), points };
}

describe.each(['orthographic', 'equirectangular'] as const)('a map, %s', (projection) => {
  test('has 20 named craters where they belong, read back with geotiff', { timeout: 120_000 }, async () => {
    const { plate, points } = dotted();
    expect(points.length).toBe(20);
    const paths = wherePaths(scratch(projection));
    await mkdir(scratch(projection));
    const files = await writeWhere(paths, where, plate, projection, { force: false });
    expect(files.map(({ file }) => file)).toEqual(['features.svg', 'map.tif']);
    const tiff = await fromFile(paths.map);
    try {
      const image = await tiff.getImage(0);
      const keys = image.getGeoKeys()!;
      expect(keys).toMatchObject({
        GTModelTypeGeoKey: 1,
        GTRasterTypeGeoKey: 1,
        GeographicTypeGeoKey: 32767,
        ProjectedCSTypeGeoKey: 32767,
        ProjCoordTransGeoKey: projection === 'orthographic' ? 21 : 17,
        GeogSemiMajorAxisGeoKey: RADIUS_M,
        GeogSemiMinorAxisGeoKey: RADIUS_M,
        ProjCenterLongGeoKey: 0,
        ProjCenterLatGeoKey: 0,
      });
      const [pixelM] = image.getResolution();
      expect(pixelM! / 1000).toBeCloseTo(where.kmPerPx, 9);
      const [left, top] = image.getOrigin();
      const [green] = (await image.readRasters({ samples: [1] })) as unknown as [Uint16Array];
      const width = image.getWidth();
      for (const { name, lon, lat } of points) {
        const flat = projection === 'equirectangular';
        const east = RADIUS_M * (flat ? lon * DEG : Math.cos(lat * DEG) * Math.sin(lon * DEG));
        const north = RADIUS_M * (flat ? lat * DEG : Math.sin(lat * DEG));
        const [x, y] = [(east - left!) / pixelM! - 0.5, (top! - north) / pixelM! - 0.5];
        const found = brightest(green, width, x, y);
        expect(Math.hypot(found.x - x, found.y - y), name).toBeLessThan(2);
      }
    } finally {
      await tiff.close();
    }
  });
});

/** Centre of the light within 8 px of a place. */
function brightest(values: Uint16Array, width: number, x: number, y: number): { x: number; y: number } {
  let [sum, sx, sy] = [0, 0, 0];
  for (let j = Math.round(y) - 8; j <= y + 8; j++) {
    for (let i = Math.round(x) - 8; i <= x + 8; i++) {
      const value = values[j * width + i]!;
      sum += value;
      sx += value * i;
      sy += value * j;
    }
  }
  return { x: sx / sum, y: sy / sum };
}

test('the drawing is XML in the size of the plate and names the large features once', async () => {
  const folder = scratch('drawing');
  await mkdir(folder);
  await writeWhere(wherePaths(folder), where, moon.source, null, { force: false });
  expect(await readdir(folder)).toEqual(['features.svg']);
  const text = await readFile(wherePaths(folder).features, 'utf8');
  const { root } = parseXml(text);
  expect(root!.attributes).toMatchObject({ width: String(moon.source.width), height: String(moon.source.height) });
  const names = [...text.matchAll(/<text[^>]*>([^<]*)<\/text>/g)].map(([, name]) => name);
  expect(names).toContain('Petavius');
  expect(new Set(names).size).toBe(names.length);
});

test('nothing is written of a plate whose place is not known', async () => {
  const unknown = { known: false, reason: 'no-limb', detail: 'none' } as const;
  const folder = scratch('unknown');
  expect(await writeWhere(wherePaths(folder), unknown, moon.source, 'orthographic', { force: false })).toEqual([]);
});
