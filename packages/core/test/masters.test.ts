import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { fromFile } from 'geotiff';
import { beforeAll, expect, test } from 'vitest';
import { sha256File } from '../src/capture/hash.js';
import { pictures } from '../src/capture/picture-library.js';
import { quantile } from '../src/compute/quantile.js';
import { locateDisc } from '../src/georef/locate-disc.js';
import { scaleOf, viewOf } from '../src/georef/round-view.js';
import type { ProgressEvent } from '../src/job/progress.js';
import { gaugeOf } from '../src/plate/limb-ellipse.js';
import { readPlate } from '../src/plate/read-plate.js';
import type { Sidecar } from '../src/plate/sidecar.js';
import { rehearse } from '../src/rehearsal/rehearse.js';
import { type StitchResult, stitch } from '../src/stitch.js';
import { plateFrom } from './plate-on-disk.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
let result: StitchResult;
let sidecar: Sidecar;
const events: ProgressEvent[] = [];

beforeAll(async () => {
  const dir = scratch('night');
  const settings = { seed: 7, discDiameterPx: 560, frameWidthPx: 520, frameHeightPx: 340, passes: 2, framesPerPass: 6 };
  await rehearse(dir, settings);
  result = await stitch(join(dir, 'capture'), {
    outDir: scratch('plate'),
    workDir: scratch('work'),
    maps: true,
    onProgress: (event) => events.push(event),
    masters: {
      background: 'cut',
      exr: 'half',
      floatTiff: true,
      matte: true,
      zoomTiles: true,
      encoding: 'bt1886',
      primaries: 'p3',
      crops: [
        { widthPx: 192, heightPx: 108 },
        { widthPx: 16384, heightPx: 16 },
        { widthPx: 16386, heightPx: 16 },
      ],
    },
  });
  sidecar = JSON.parse(await readFile(result.sidecarPath, 'utf8')) as Sidecar;
});

test('the sidecar lists every file with its hash, and keeps to its schema', async () => {
  const schema: unknown = JSON.parse(await readFile(new URL('../schema/plate.schema.json', import.meta.url), 'utf8'));
  const isValid = new Ajv2020({ strict: false }).compile(schema as object);
  expect(isValid(sidecar), JSON.stringify(isValid.errors)).toBe(true);
  const entries = await readdir(scratch('plate'), { recursive: true, withFileTypes: true });
  const files = entries.filter((e) => e.isFile()).map((e) => join(e.parentPath, e.name));
  const listed = sidecar.files.map(({ file }) => scratch(join('plate', file)));
  expect(listed.sort()).toEqual(files.filter((file) => ![result.sidecarPath, result.reportPath].includes(file)).sort());
  expect(listed).toEqual(expect.arrayContaining([...result.masterPaths]));
  expect(result.masterPaths).toHaveLength(7);
  for (const { file, sha256 } of sidecar.files) expect(await sha256File(scratch(join('plate', file)))).toBe(sha256);
  expect(sidecar.plate).toMatchObject({
    encoding: 'BT.1886',
    primaries: 'p3',
    background: 'cut',
    alpha: 'coverage-and-matte',
  });
  // The plate's edge is ragged.
  const whole = Math.min(result.widthPx / 192, result.heightPx / 108);
  expect(sidecar.crops[0]!.largestPushIn).toBeGreaterThan(0.6 * whole);
  expect(sidecar.crops[0]!.largestPushIn).toBeLessThan(whole);
});

test('the report lists what was made, tiles by their number, and what alpha is', async () => {
  const page = await readFile(result.reportPath, 'utf8');
  const tiles = sidecar.files.filter(({ file }) => file.includes('/'));
  expect(tiles.length).toBeGreaterThan(0);
  expect(page).toContain(`Besides, ${tiles.length} tiles`);
  for (const { file, sha256 } of sidecar.files.filter((one) => !tiles.includes(one))) {
    expect(page).toMatch(new RegExp(`>${file.replaceAll('.', '\\.')}</t[dh]><td><code>${sha256}`));
  }
  expect(page).toContain('alpha is the coverage times the matte');
});

test('the report shows the plate as it is cut out, over grey', async () => {
  const page = await readFile(result.reportPath, 'utf8');
  expect(page).toContain('The light of the sky is taken off, and what lies outside the disc');
  const held = JSON.parse(/id="plate-data">(.*?)<\/script>/s.exec(page)![1]!) as {
    readonly tiles: Readonly<Record<string, string>>;
  };
  const jpeg = pictures(Buffer.from(held.tiles['0/0/0']!, 'base64'));
  const { data, info } = await jpeg.raw().toBuffer({ resolveWithObject: true });
  const gauge = gaugeOf(sidecar.limb!.ellipse);
  const step = 2 ** Math.ceil(Math.log2(Math.max(result.widthPx, result.heightPx) / 512));
  let [outside, off] = [0, 0];
  for (let i = 0; i < data.length; i += 3) {
    const [x, y] = [((i / 3) % info.width) * step, Math.floor(i / 3 / info.width) * step];
    if (gauge.squared(x, y) < 1.15) continue;
    outside++;
    for (const code of data.subarray(i, i + 3)) off = Math.max(off, Math.abs(code - 64));
  }
  expect(outside).toBeGreaterThan(5000);
  expect(off).toBeLessThan(4);
});

test('stages that take long tell how much of them is done', () => {
  const stepsOf = (stage: string) => events.flatMap((e) => (e.kind === 'stage-step' && e.stage === stage ? [e] : []));
  // Two strips, the pair of them, and what follows.
  expect(stepsOf('place').map(({ done, total }) => [done, total])).toEqual([1, 2, 3].map((done) => [done, 4]));
  for (const { name } of result.passes) {
    const steps = stepsOf('transients').filter(({ subject }) => subject === name);
    expect(steps.map(({ done }) => done)).toEqual(steps.map((_, i) => i + 1));
    expect(steps.at(-1)!.done).toBe(steps.at(-1)!.total);
  }
});

test('where nobody knows the site, the matte’s disc is the one that would place the plate', async () => {
  const options = { outDir: scratch('plain'), workDir: scratch('work'), masters: { matte: true } };
  const { platePath, sidecarPath } = await stitch(scratch('night/capture'), options);
  const { limb } = JSON.parse(await readFile(sidecarPath, 'utf8')) as Sidecar;
  const { image, coverage } = await readPlate(platePath);
  const source = plateFrom(scratch('plate.f32'), image, coverage);
  const view = viewOf(source, 2560);
  expect(scaleOf(view)).toBe(1);
  const disc = locateDisc(view)!;
  const { centreX, centreY, aPx, bPx } = limb!.ellipse;
  expect(Math.hypot(centreX - disc.centreX, centreY - disc.centreY)).toBeLessThan(0.2);
  for (const radiusPx of [aPx, bPx]) expect(Math.abs(radiusPx - disc.radiusPx)).toBeLessThan(0.2);
  // Half of the disc is lit: the radius is known by a part in 500.
  expect(Math.abs(aPx - 280)).toBeLessThan(0.6);
});

test('a crop is one page, unless it is very large', async () => {
  for (const [name, pages] of [
    ['crop-192x108.tif', 1],
    ['crop-16384x16.tif', 1],
    ['crop-16386x16.tif', 8],
  ] as const) {
    const file = await fromFile(scratch(join('plate', name)));
    expect(await file.getImageCount(), name).toBe(pages);
    file.close();
  }
});

test('a crop that is larger than the plate is told with its empty sides', () => {
  const padded = result.notices.filter(({ reason }) => reason === 'crop-padded');
  expect(padded.map(({ item }) => item)).toEqual(['crop-16384x16.tif', 'crop-16386x16.tif']);
  const [left, right] = (
    /beyond it are (\d+) px on the left, (\d+) px on the right, which are empty$/.exec(padded[0]!.detail) ?? []
  ).slice(1);
  expect(Number(left) + result.widthPx + Number(right)).toBe(16384);
  expect(Number(left)).toBe(-sidecar.crops[1]!.x0);
  expect(sidecar.notices).toEqual(result.notices);
});

test('cut out and laid over white, grey and a colour, the limb has no fringe above 1 %', async () => {
  const { image, coverage } = await readPlate(result.platePath);
  const { ellipse, softness } = sidecar.limb!;
  expect(softness.roughnessPx).toBeLessThan(1);
  const gauge = gaugeOf(ellipse);
  const reach = 5 * softness.sigmaPx;
  for (const behind of [
    [1, 1, 1],
    [0.18, 0.18, 0.18],
    [0.05, 0.6, 0.9],
  ]) {
    for (const [c, plane] of image.planes.entries()) {
      // Mean of the lit limb by its distance from the edge.
      const sums = new Map<number, [number, number]>();
      for (let y = 0, i = 0; y < image.height; y++) {
        for (let x = 0; x < image.width; x++, i++) {
          if (x < ellipse.centreX + 0.6 * ellipse.aPx) continue;
          const { distancePx } = gauge.place(x, y);
          const from = distancePx - softness.offsetPx;
          if (from < -1.5 * softness.sigmaPx || from > reach) continue;
          const [sum, n] = sums.get(Math.round(2 * from)) ?? [0, 0];
          const alpha = coverage.data[i]!;
          sums.set(Math.round(2 * from), [sum + alpha * plane[i]! + (1 - alpha) * behind[c]!, n + 1]);
        }
      }
      const means = [...sums].sort((a, b) => a[0] - b[0]).map(([, [sum, n]]) => sum / n);
      const limb = means[0]!;
      const rises = behind[c]! > limb;
      means.slice(1).forEach((value, k) => {
        const step = value - means[k]!;
        expect(rises ? step : -step).toBeGreaterThan(-0.01 * limb);
      });
      expect(Math.abs(means.at(-1)! - behind[c]!)).toBeLessThan(0.01 * limb);
    }
  }
});

test('what is cut out has a night side without the light of the sky', async () => {
  const { image, coverage } = await readPlate(result.platePath);
  const { ellipse, sky } = sidecar.limb!;
  const gauge = gaugeOf(ellipse);
  for (const [c, plane] of image.planes.entries()) {
    const night: number[] = [];
    for (let y = 0, i = 0; y < image.height; y++) {
      for (let x = 0; x < image.width; x++, i++) {
        if (x > ellipse.centreX - 0.7 * ellipse.aPx || coverage.data[i]! < 1) continue;
        if (gauge.squared(x, y) < 0.9) night.push(plane[i]!);
      }
    }
    expect(night.length).toBeGreaterThan(1000);
    expect(sky[c]!.level).toBeGreaterThan(0.002);
    expect(quantile(Float64Array.from(night), 0.5)).toBeLessThan(0.1 * sky[c]!.level);
  }
});

test('a value that is none is told before anything is done', async () => {
  const masters = { background: 'cutt' as 'cut' };
  await expect(stitch(scratch('night/capture'), { outDir: scratch('never'), masters })).rejects.toThrow(
    '"cutt" is no background (did you mean "cut"?)',
  );
  expect(await readdir(scratch('.'))).not.toContain('never');
});
