import { mkdir, readdir, readFile, writeFile } from 'node:fs/promises';
import { fromFile, type GeoTIFFImage } from 'geotiff';
import { describe, expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { encodeSrgb } from '../capture/curves.js';
import { pictures } from '../capture/picture-library.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { InterruptedError } from '../job/errors.js';
import { srgbProfile } from './icc.js';
import { readPlate } from './read-plate.js';
import { writePlateTiff } from './tiff.js';

const scratch = useScratch();

/** Not a multiple of the tile, with all coverage from none to full and light beyond both ends. */
const WIDTH = 300;
const HEIGHT = 271;

function sample(channels: 1 | 3): { image: LinearImage; coverage: Plane } {
  const random = createRandom(`tiff/${channels}`);
  const draw = (least: number, most: number): Float32Array =>
    Float32Array.from({ length: WIDTH * HEIGHT }, () => least + (most - least) * random.uniform());
  const data = draw(-0.3, 1.3).map((value) => Math.min(1, Math.max(0, value)));
  return {
    image: { width: WIDTH, height: HEIGHT, planes: Array.from({ length: channels }, () => draw(-0.05, 1.05)) },
    coverage: { width: WIDTH, height: HEIGHT, data },
  };
}

/** What must be in the file, worked out one sample at a time with the formula. */
function expectedCodes(image: LinearImage, coverage: Plane): { codes: Uint16Array; low: number; high: number } {
  const codes = new Uint16Array(WIDTH * HEIGHT * 4);
  let low = 0;
  let high = 0;
  for (let i = 0; i < WIDTH * HEIGHT; i++) {
    codes[i * 4 + 3] = Math.round(65535 * coverage.data[i]!);
    if (codes[i * 4 + 3] === 0) continue;
    image.planes.forEach((plane) => {
      if (plane[i]! < 0) low++;
      if (plane[i]! > 1) high++;
    });
    for (let c = 0; c < 3; c++) {
      const value = image.planes[image.planes.length === 1 ? 0 : c]![i]!;
      codes[i * 4 + c] = Math.round(65535 * encodeSrgb(Math.min(1, Math.max(0, value))));
    }
  }
  return { codes, low, high };
}

async function readWithGeotiff<T>(path: string, use: (image: GeoTIFFImage) => Promise<T>): Promise<T> {
  const file = await fromFile(path);
  try {
    return await use(await file.getImage(0));
  } finally {
    file.close();
  }
}

describe.each([
  ['RGB, classic', 3, false],
  ['grey, classic', 1, false],
  ['RGB, BigTIFF', 3, true],
] as const)('%s', (name, channels, bigtiff) => {
  const path = (): string => scratch(`${name}.tif`);
  const { image, coverage } = sample(channels);
  const { codes, low, high } = expectedCodes(image, coverage);

  test('says what it wrote', async () => {
    const result = await writePlateTiff(path(), plateFrom(scratch('plate.f32'), image, coverage), {
      bigtiff,
      xmp: '<x:xmpmeta/>',
    });
    const bytes = await readFile(path());
    expect(result).toEqual({ clippedLow: low, clippedHigh: high, bytes: bytes.length, bigtiff, levels: 2 });
    expect(low).toBeGreaterThan(1000);
    expect(bytes.readUInt16LE(2)).toBe(bigtiff ? 43 : 42);
  });

  test('one reader gives back every code', async () => {
    const { data, info } = await pictures(path(), { failOn: 'warning', ignoreIcc: true })
      .toColourspace('rgb16')
      .raw({ depth: 'ushort' })
      .toBuffer({ resolveWithObject: true });
    expect([info.width, info.height, info.channels]).toEqual([WIDTH, HEIGHT, 4]);
    expect(Buffer.compare(data, Buffer.from(codes.buffer))).toBe(0);
  });

  test('another reader gives back every code', async () => {
    const read = await readWithGeotiff(path(), (tiff) => tiff.readRasters({ interleave: true }));
    expect(Buffer.compare(Buffer.from(read.buffer as ArrayBuffer), Buffer.from(codes.buffer))).toBe(0);
  });

  test('is laid out as promised', async () => {
    await readWithGeotiff(path(), async (tiff) => {
      const tag = async (name: Parameters<typeof tiff.fileDirectory.loadValue>[0]): Promise<unknown> => {
        const value = await tiff.fileDirectory.loadValue(name);
        return ArrayBuffer.isView(value) ? [...(value as Uint16Array)] : value;
      };
      expect([tiff.getTileWidth(), tiff.getTileHeight(), tiff.isTiled]).toEqual([256, 256, true]);
      expect(await tag('BitsPerSample')).toEqual([16, 16, 16, 16]);
      expect(await tag('SamplesPerPixel')).toBe(4);
      expect(await tag('SampleFormat')).toEqual([1, 1, 1, 1]);
      expect(await tag('Compression')).toBe(8);
      expect(await tag('Predictor')).toBe(2);
      expect(await tag('PhotometricInterpretation')).toBe(2);
      expect([await tag('ExtraSamples')].flat()).toEqual([2]);
      expect(Buffer.from((await tag(34675)) as number[]).equals(srgbProfile())).toBe(true);
      expect(Buffer.from((await tag(700)) as number[]).toString()).toBe('<x:xmpmeta/>');
    });
  });

  test('has the same bytes each time', async () => {
    const again = scratch(`${name}-again.tif`);
    await writePlateTiff(again, plateFrom(scratch('plate.f32'), image, coverage), { bigtiff, xmp: '<x:xmpmeta/>' });
    expect((await readFile(again)).equals(await readFile(path()))).toBe(true);
  });

  test('comes back into linear light', async () => {
    const plate = await readPlate(path());
    expect(plate.image.planes).toHaveLength(3);
    const alpha = Float32Array.from({ length: WIDTH * HEIGHT }, (_, i) => codes[i * 4 + 3]! / 65535);
    expectSamples(plate.coverage.data, alpha);
    plate.image.planes.forEach((plane, channel) => {
      const source = image.planes[channels === 1 ? 0 : channel]!;
      const expected = source.map((value, i) => (alpha[i] === 0 ? 0 : Math.min(1, Math.max(0, value))));
      // Half a 16-bit code at the steepest part of the curve: 0.5 / 65535 * 2.28.
      expectSamples(plane, expected, 1.8e-5);
      expect(alpha.every((value, i) => value > 0 || plane[i] === 0)).toBe(true);
    });
  });
});

test('one pixel and a whole number of tiles', async () => {
  for (const [width, height] of [
    [1, 1],
    [512, 256],
  ] as const) {
    const image = { width, height, planes: [new Float32Array(width * height).fill(0.5)] };
    const coverage = { width, height, data: new Float32Array(width * height).fill(1) };
    await writePlateTiff(scratch('size.tif'), plateFrom(scratch('plate.f32'), image, coverage), { force: true });
    const plate = await readPlate(scratch('size.tif'));
    expect([plate.image.width, plate.image.height]).toEqual([width, height]);
    expectSamples(plate.image.planes[2]!, image.planes[0]!, 1.8e-5);
  }
});

test('an existing plate stays unless it may be replaced; an abort leaves nothing', async () => {
  const { image, coverage } = sample(1);
  await mkdir(scratch('kept'));
  const path = scratch('kept/plate.tif');
  await writeFile(path, 'old');
  await expect(writePlateTiff(path, plateFrom(scratch('plate.f32'), image, coverage))).rejects.toMatchObject({
    code: 'OUTPUT_EXISTS',
  });
  const aborted = writePlateTiff(path, plateFrom(scratch('plate.f32'), image, coverage), {
    force: true,
    signal: AbortSignal.abort(),
  });
  await expect(aborted).rejects.toThrow(InterruptedError);
  expect(await readFile(path, 'utf8')).toBe('old');
  expect(await readdir(scratch('kept'))).toEqual(['plate.tif']);
});
