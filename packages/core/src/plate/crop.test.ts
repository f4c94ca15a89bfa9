import { readdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { sha256File } from '../capture/hash.js';
import { pictures } from '../capture/picture-library.js';
import { UsageError } from '../job/errors.js';
import { cropNotices, cropOf, placeCrop } from './crop.js';
import { encodeSrgb8 } from './encode.js';
import { settleMasters } from './masters-options.js';
import { writePlatePng } from './png.js';
import { readPlate } from './read-plate.js';
import { coveredCells } from './widest-view.js';
import { writeZoomTiles } from './zoom-tiles.js';

const scratch = useScratch();
const [WIDTH, HEIGHT] = [600, 420];
const size = { width: WIDTH, height: HEIGHT };

/** Dark, but for a lit box whose middle is (450, 120). */
const light = Float32Array.from({ length: WIDTH * HEIGHT }, (_, i) => {
  const [x, y] = [i % WIDTH, Math.floor(i / WIDTH)];
  return Math.abs(x - 450) <= 100 && Math.abs(y - 120) <= 60 ? 0.2 + (x + y) / 2000 : 0.001;
});
const coverage = { ...size, data: new Float32Array(light.length).fill(1) };
const source = () => plateFrom(scratch('plate.f32'), { ...size, planes: [light, light, light] }, coverage);
const cells = () => coveredCells(source());
const disc = { centreX: 300, centreY: 200, aPx: 100, bPx: 90, angleDeg: 0 };

test('a frame lies about the disc where all of it fits in, or else about the lit part', () => {
  const wide = placeCrop(source(), { widthPx: 220, heightPx: 210 }, disc, cells());
  expect(wide).toEqual({ x0: 191, y0: 96, widthPx: 220, heightPx: 210, largestPushIn: 2 });
  const close = placeCrop(source(), { widthPx: 101, heightPx: 51 }, disc, cells());
  expect(close).toMatchObject({ x0: 400, y0: 95, largestPushIn: 600 / 101 });
  const asked = { widthPx: 101, heightPx: 51, centre: { x: 60, y: 410 } };
  const low = placeCrop(source(), asked, disc, cells());
  expect(low).toMatchObject({ x0: 10, y0: HEIGHT - 51 });
  expect(cropNotices('a.tif', low, source(), asked.centre)).toEqual([
    {
      item: 'a.tif',
      reason: 'crop-moved',
      detail: 'Its middle was moved from 60,410 to 60,394, so that it lies on the plate as far as it fits there',
    },
  ]);
});

test('a frame has the plate’s own pixels, and nothing beyond its edge', () => {
  const place = placeCrop(source(), { widthPx: 800, heightPx: 200 }, null, cells());
  expect(place).toMatchObject({ x0: -100, largestPushIn: 0.75 });
  const tall = placeCrop(source(), { widthPx: 10, heightPx: HEIGHT }, null, cells());
  expect(cropNotices('a.tif', tall, source())).toEqual([]);
  expect(cropNotices('a.tif', { ...place, x0: -101, y0: -1, heightPx: HEIGHT + 3 }, source())).toEqual([
    {
      item: 'a.tif',
      reason: 'crop-padded',
      detail:
        'It is larger than the plate of 600 x 420 px; beyond it are 101 px on the left, 99 px on the right, 1 px at the top, 2 px at the bottom, which are empty',
    },
  ]);
  const { image, coverage: shares } = cropOf(source(), place).read({ x0: 50, y0: 10, width: 700, height: 20 });
  for (let i = 0; i < 700 * 20; i++) {
    const [x, y] = [place.x0 + 50 + (i % 700), place.y0 + 10 + Math.floor(i / 700)];
    const inside = x >= 0 && x < WIDTH;
    expect(shares.data[i]).toBe(inside ? 1 : 0);
    expect(image.planes[2]![i]).toBe(inside ? light[y * WIDTH + x] : 0);
  }
});

test('what no frame covers of a frame is told, and no view of it counts', () => {
  // The plate is covered but for the ground right of a slanting edge.
  const share = Float32Array.from(light, (_, i) => ((i % WIDTH) + Math.floor(i / WIDTH) / 3 < 500 ? 1 : 0));
  const slanting = plateFrom(
    scratch('slanting.f32'),
    { ...size, planes: [light, light, light] },
    { ...size, data: share },
  );
  const square = { widthPx: 100, heightPx: 100, centre: { x: 449.5, y: 199.5 } };
  const place = placeCrop(slanting, square, null, coveredCells(slanting));
  // A square of 375 px and the edge's foot 125 px further: 500 - 375 / 3.
  expect(place.largestPushIn).toBeCloseTo(3.75, 1);
  let open = 0;
  for (let y = 150; y < 250; y++) for (let x = 400; x < 500; x++) if (share[y * WIDTH + x] === 0) open++;
  expect(cropNotices('a.tif', place, slanting, square.centre)).toEqual([
    {
      item: 'a.tif',
      reason: 'crop-uncovered',
      detail: `No frame covers ${(open / 100).toFixed(1)} % of it; that part is transparent`,
    },
  ]);
});

test('a PNG holds the same light, with its profile', async () => {
  const path = scratch('crop.png');
  await writePlatePng(path, source());
  const { image } = await readPlate(path);
  expectSamples(image.planes[1]!, light, 1.8e-5);
  expect((await pictures(path).metadata()).icc?.length).toBeGreaterThan(1000);
  const before = await readFile(path);
  await expect(writePlatePng(path, source())).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  await writePlatePng(path, source(), { force: true });
  expect((await readFile(path)).equals(before)).toBe(true);
});

test('a size that is none is refused, several of a size get a name each', () => {
  expect(() => settleMasters({ crops: [{ widthPx: 0, heightPx: 10 }] })).toThrow(UsageError);
  const twice = { widthPx: 10, heightPx: 20 };
  expect(settleMasters({ crops: [twice, twice], cropFormat: 'png' }).crops.map(({ file }) => file)).toEqual([
    'crop-10x20.png',
    'crop-10x20-2.png',
  ]);
});

test('deep-zoom tiles show every level, each with what it shares with its neighbours', async () => {
  const path = scratch('plate.dzi');
  const { levels, tiles } = await writeZoomTiles(path, source());
  expect(levels).toBe(11);
  const description = await readFile(path, 'utf8');
  expect(description).toContain('<Size Width="600" Height="420"/>');
  const top = await readdir(scratch('plate_files/10'));
  expect(top.sort()).toEqual(['0_0.jpg', '0_1.jpg', '1_0.jpg', '1_1.jpg', '2_0.jpg', '2_1.jpg']);
  const { data, info } = await pictures(scratch('plate_files/10/1_1.jpg')).raw().toBuffer({ resolveWithObject: true });
  expect([info.width, info.height, info.channels]).toEqual([256, HEIGHT - 253, 3]);
  for (let y = 4; y < info.height; y += 9) {
    // Away from the box's edges, where JPEG rings.
    const expected = encodeSrgb8(light[(253 + y) * WIDTH + 253]!);
    expect(Math.abs(data[y * 256 * 3]! - expected)).toBeLessThanOrEqual(3);
  }
  expect((await pictures(scratch('plate_files/0/0_0.jpg')).metadata()).width).toBe(1);
  const found = (await readdir(scratch('plate_files'), { recursive: true })).filter((name) => name.endsWith('.jpg'));
  expect(tiles.map(({ file }) => file).sort()).toEqual(found.map((name) => join('plate_files', name)).sort());
  for (const { file, sha256 } of tiles) expect(await sha256File(scratch(file))).toBe(sha256);
});

test('tiles that are there stay unless they may be replaced', async () => {
  await writeFile(scratch('plate_files/mine'), 'mine');
  await expect(writeZoomTiles(scratch('plate.dzi'), source())).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  expect(await readFile(scratch('plate_files/mine'), 'utf8')).toBe('mine');
  await writeZoomTiles(scratch('plate.dzi'), source(), { force: true });
  expect(await readdir(scratch('plate_files'))).not.toContain('mine');
  expect((await readdir(scratch('.'))).filter((name) => name.includes('partial'))).toEqual([]);
});
