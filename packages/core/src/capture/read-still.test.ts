import { copyFile, readFile, writeFile } from 'node:fs/promises';
import { describe, expect, test } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { type TiffFile, tiffFile } from '../../test/tiff-file.js';
import { writePlateTiff } from '../plate/tiff.js';
import { decodeBt709, decodeSrgb } from './curves.js';
import { pictures } from './picture-library.js';
import { readStill } from './read-still.js';

const scratch = useScratch();

/** All 65536 codes as a picture of 256 x 256. */
const RAMP = Uint16Array.from({ length: 65536 }, (_, code) => code);

async function writeTiff(name: string, file: TiffFile): Promise<string> {
  await writeFile(scratch(name), tiffFile(file));
  return scratch(name);
}

function greyRamp(extra: Partial<TiffFile> = {}): TiffFile {
  return { width: 256, height: 256, samples: RAMP, bits: 16, perPixel: 1, ...extra };
}

describe('16 bits stay 16 bits', () => {
  test('grey TIFF: every code keeps its own value', async () => {
    const { image, bitsPerSample, clipped } = await readStill(await writeTiff('ramp.tif', greyRamp()));
    expect(bitsPerSample).toBe(16);
    expect(clipped).toBe(1 / 65536);
    expectSamples(
      image.planes[0]!,
      Float32Array.from(RAMP, (code) => decodeSrgb(code / 65535)),
    );
  });

  test('RGB TIFF: channels keep their order and codes', async () => {
    const samples = Uint16Array.from({ length: 65536 * 3 }, (_, i) => {
      const code = Math.floor(i / 3);
      return [code, 65535 - code, (code * 7) & 65535][i % 3]!;
    });
    const path = await writeTiff('rgb.tif', greyRamp({ samples, perPixel: 3 }));
    const { image } = await readStill(path, { curve: 'linear' });
    image.planes.forEach((plane, channel) => {
      expectSamples(
        plane,
        Float32Array.from(RAMP, (_, i) => samples[i * 3 + channel]! / 65535),
      );
    });
  });

  test.each(['grey16', 'rgb16'] as const)('PNG, %s', async (space) => {
    const path = scratch(`${space}.png`);
    await pictures(RAMP, { raw: { width: 256, height: 256, channels: 1 } })
      .toColourspace(space)
      .png()
      .toFile(path);
    const { image, curve } = await readStill(path, { curve: 'bt709' });
    expect(curve).toBe('bt709');
    expect(image.planes).toHaveLength(space === 'grey16' ? 1 : 3);
    const expected = Float32Array.from(RAMP, (code) => decodeBt709(code / 65535));
    for (const plane of image.planes) expectSamples(plane, expected);
  });
});

describe('sample formats', () => {
  const floats = Float32Array.from({ length: 64 }, (_, i) => i / 60 - 0.02);

  test('32-bit floats are linear, keep what lies outside 0..1, and clip from 1 on', async () => {
    const path = await writeTiff('float.tif', {
      width: 8,
      height: 8,
      samples: floats,
      bits: 32,
      perPixel: 1,
      format: 3,
    });
    const { image, curve, clipped } = await readStill(path);
    expect(curve).toBe('linear');
    expectSamples(image.planes[0]!, floats);
    expect(clipped).toBe(floats.filter((value) => value >= 1).length / 64);
    expect(clipped).toBeGreaterThan(0);
  });

  test.each([
    ['not a number', Number.NaN],
    ['infinite', Number.POSITIVE_INFINITY],
    ['on another scale', 40000],
  ])('floats that are %s are refused', async (_, value) => {
    const samples = floats.with(20, value);
    const path = await writeTiff('bad-float.tif', { width: 8, height: 8, samples, bits: 32, perPixel: 1, format: 3 });
    await expect(readStill(path)).rejects.toThrow(`a sample is ${value}; floats must be finite`);
  });

  test('white-is-zero samples are turned round', async () => {
    const path = await writeTiff('white-is-zero.tif', greyRamp({ photometric: 0 }));
    const { image } = await readStill(path, { curve: 'linear' });
    expectSamples(
      image.planes[0]!,
      Float32Array.from(RAMP, (code) => (65535 - code) / 65535),
    );
  });

  test.each([
    [8, Uint8Array.of(0, 1, 2, 3), [0, 51, 102, 255].map((code) => code * 257)],
    [16, Uint16Array.of(0, 1, 2, 3), [0, 1000, 30001, 65535]],
  ])('%i-bit palettes', async (bits, samples, levels) => {
    const entries = 2 ** bits;
    const map = new Array<number>(entries * 3).fill(0);
    levels.forEach((level, i) => {
      map[i] = level;
      map[entries + i] = 65535 - level;
      map[2 * entries + i] = level;
    });
    const tags = [{ tag: 320, type: 'short', values: map }] as const;
    const path = await writeTiff('palette.tif', {
      width: 2,
      height: 2,
      samples,
      bits,
      perPixel: 1,
      photometric: 3,
      tags,
    });
    const { image } = await readStill(path, { curve: 'linear' });
    expect(image.planes).toHaveLength(3);
    expectSamples(
      image.planes[0]!,
      Float32Array.from(levels, (level) => level / 65535),
    );
    expectSamples(
      image.planes[1]!,
      Float32Array.from(levels, (level) => (65535 - level) / 65535),
    );
  });

  test('8-bit grey with alpha', async () => {
    const tags = [{ tag: 338, type: 'short', values: [2] }] as const;
    const samples = Uint8Array.of(0, 255, 90, 128, 255, 0, 7, 3);
    const path = await writeTiff('la.tif', {
      width: 2,
      height: 2,
      samples,
      bits: 8,
      perPixel: 2,
      photometric: 1,
      tags,
    });
    const { image } = await readStill(path, { curve: 'linear' });
    expect(image.planes).toHaveLength(1);
    expectSamples(image.planes[0]!, Float32Array.of(0, 90 / 255, 1, 7 / 255));
  });

  test('32-bit integers', async () => {
    const samples = Uint32Array.of(0, 1 << 30, 2 ** 31, 2 ** 32 - 1);
    const path = await writeTiff('uint32.tif', { width: 2, height: 2, samples, bits: 32, perPixel: 1 });
    const { image, clipped } = await readStill(path, { curve: 'linear' });
    expectSamples(
      image.planes[0]!,
      Float32Array.from(samples, (value) => value / (2 ** 32 - 1)),
    );
    expect(clipped).toBe(0.25);
  });

  test.each([
    ['signed integers', { format: 2 }, 'signed integers'],
    ['complex numbers', { format: 6 }, 'neither unsigned nor float'],
    ['a mosaic', { photometric: 32803 }, 'colour filter mosaic'],
    ['Lab', { photometric: 8 }, 'CIE Lab'],
    ['a preview page', { tags: [{ tag: 254, type: 'long', values: [1] }] }, 'reduced preview'],
    ['missing strips', { tags: [{ tag: 278, type: 'long', values: [100] }] }, 'lists 1 of its 3 strips'],
    ['a strip beyond the end', { tags: [{ tag: 273, type: 'long', values: [200000] }] }, 'cut short'],
    ['a zero width', { tags: [{ tag: 256, type: 'long', values: [0] }] }, 'width is missing or zero'],
  ] as const)('%s are refused', async (_, extra, message) => {
    const path = await writeTiff('refused.tif', greyRamp(extra as Partial<TiffFile>));
    await expect(readStill(path)).rejects.toMatchObject({
      code: 'FRAME_UNREADABLE',
      message: expect.stringContaining(message),
    });
  });
});

test('orientation', async () => {
  const tags = [{ tag: 274, type: 'short', values: [6] }] as const;
  const samples = Uint16Array.of(1, 2, 3, 4, 5, 6);
  const path = await writeTiff('turned.tif', { width: 3, height: 2, samples, bits: 16, perPixel: 1, tags });
  const { image } = await readStill(path, { curve: 'linear' });
  expect([image.width, image.height]).toEqual([2, 3]);
  expect([...image.planes[0]!].map((value) => Math.round(value * 65535))).toEqual([4, 1, 5, 2, 6, 3]);
});

test('of several pages the first is used, with a note', async () => {
  const path = scratch('pages.tif');
  const page = (level: number): Buffer => Buffer.alloc(16 * 16, level);
  await pictures(Buffer.concat([page(40), page(200)]), { raw: { width: 16, height: 32, channels: 1, pageHeight: 16 } })
    .toColourspace('b-w')
    .tiff({ compression: 'none' })
    .toFile(path);
  const { image, notes } = await readStill(path, { curve: 'linear' });
  expect([image.width, image.height]).toEqual([16, 16]);
  expect(image.planes[0]![100]).toBe(Math.fround(40 / 255));
  expect(notes).toEqual(['The file has 2 pages; the first one is used.']);
});

test.each([false, true])(
  'the halves of a pyramid are no pages: a master is read without a note (BigTIFF: %s)',
  async (bigtiff) => {
    const [width, height] = [600, 300];
    const ramp = new Float32Array(width * height).map((_, i) => (i % width) / width);
    const coverage = { width, height, data: new Float32Array(width * height).fill(1) };
    const source = plateFrom(scratch(`pyramid ${bigtiff}`), { width, height, planes: [ramp] }, coverage);
    const path = scratch(`pyramid ${bigtiff}.tif`);
    const { levels } = await writePlateTiff(path, source, {
      bigtiff,
      colour: { encoding: 'linear', primaries: 'bt709' },
    });
    expect(levels).toBe(3);
    const { image, notes } = await readStill(path, { curve: 'linear' });
    expect([image.width, image.height]).toEqual([width, height]);
    expect(image.planes[0]![300]).toBeCloseTo(0.5, 4);
    expect(notes).toEqual(['The alpha channel is dropped.']);
  },
);

test('a DNG under a TIFF name is read by its sensor data, not by the preview on its first page', async () => {
  await copyFile('../shared/real/formats/raw/header-only.dng', scratch('renamed.tif'));
  await expect(readStill(scratch('renamed.tif'))).rejects.toThrow('1 of its 140 strips or tiles');
});

test('a file cut anywhere is refused, never read in part', async () => {
  const frame = '../shared/real/captures/open_halves/capture/lower/frame_0000.png';
  const whole = new Map([
    ['cut.png', await readFile(frame)],
    ['cut.jpg', await pictures(frame).jpeg().toBuffer()],
    ['cut-jpeg.tif', await pictures(frame).tiff({ compression: 'jpeg', tile: true }).toBuffer()],
    ['cut-lzw.tif', await pictures(frame).tiff({ compression: 'lzw' }).toBuffer()],
    ['cut-float.tif', await pictures(frame).toColourspace('scrgb').tiff({ compression: 'deflate' }).toBuffer()],
  ]);
  for (const [name, bytes] of whole) {
    await writeFile(scratch(name), bytes);
    await readStill(scratch(name));
    for (const share of [0, 0.001, 0.3, 0.7, 0.99]) {
      await writeFile(scratch(name), bytes.subarray(0, Math.floor(bytes.length * share)));
      const outcome = await readStill(scratch(name)).catch((error: unknown) => error);
      expect(outcome, `${name} cut at ${share}`).toMatchObject({ code: 'FRAME_UNREADABLE' });
    }
  }
});

test('a replaced file is read anew', async () => {
  const path = scratch('replaced.png');
  for (const level of [50, 150]) {
    await pictures(Buffer.alloc(64, level), { raw: { width: 8, height: 8, channels: 1 } })
      .png()
      .toFile(path);
    const { image } = await readStill(path, { curve: 'linear' });
    expect(image.planes[0]![0]).toBe(Math.fround(level / 255));
  }
});

test('a header that announces too much is refused before memory is taken', async () => {
  const path = await writeTiff('huge.tif', {
    width: 30000,
    height: 30000,
    samples: new Uint8Array(16),
    bits: 8,
    perPixel: 1,
  });
  await expect(readStill(path)).rejects.toThrow('announces 30000 x 30000 pixels; at most 400000000 are read');
});

test('a missing file and a folder are typed errors', async () => {
  await expect(readStill(scratch('missing.png'))).rejects.toMatchObject({ code: 'FRAME_UNREADABLE' });
  await expect(readStill(scratch(''))).rejects.toMatchObject({ code: 'FRAME_UNREADABLE' });
});
