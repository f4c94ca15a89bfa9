import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { InputError } from '../job/errors.js';
import { encodeSrgb } from './curves.js';
import { readStill } from './read-still.js';

const ROOT = '../shared/real/formats';

interface Reference {
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  readonly means: readonly number[];
  readonly pixels: readonly { readonly x: number; readonly y: number; readonly values: readonly number[] }[];
}

type References = Readonly<Record<'recorded' | 'srgb', Readonly<Record<string, Reference>>>>;

/** Made by test/recipes/formats.py with other readers. */
const references = JSON.parse(await readFile('packages/core/test/recipes/formats.json', 'utf8')) as References;

/** Every file that is refused, and what the message must say. */
const REFUSED: Readonly<Record<string, string>> = {
  'png/basn0g01.png': '1 bit per sample',
  'png/xcrn0g04.png': 'no known signature',
  'png/xcsn0g01.png': '1 bit per sample',
  'png/xd9n2c08.png': 'corrupt header',
  'png/xdtn0g01.png': 'cut short',
  'png/xhdn0g08.png': 'CRC error',
  'png/xs7n0g01.png': 'no known signature',
  'jpeg/sample_cmyk.jpg': 'cmyk',
  'tiff/caspian.tif': 'a sample is 101',
  'tiff/cmyk-3c-16b.tiff': 'CMYK',
  'tiff/cmyk-4c-8b.tiff': 'CMYK',
  'tiff/fax4.tiff': '1 bit per sample',
  'tiff/flower-minisblack-12.tif': '12-bit integers',
  'tiff/minisblack-1c-i16b.tiff': 'signed integers',
  'tiff/multipage.tiff': '1 bit per sample',
  'tiff/off_luv24.tif': 'LogLuv',
  'tiff/tiff_overflow_rows_per_strip.tif': 'Not enough data',
  'tiff/tiff_wrong_bits_per_sample_3.tiff': 'beyond the colours',
  'tiff/tiled-oversize-gray-i8.tif': 'signed integers',
  'tiff/total-pages-zero.tif': '1 bit per sample',
  'other/10ct_32bit_128.tiff': 'tag 262 is missing',
  'other/hopper_16bit.pgm': 'PGM',
  'broken/broken_data_stream.png': 'cut short',
  'broken/crash-1152ec2d1a1a71395b6f2ce6721c38924d025bf3.tif': 'cut short',
  'broken/crash-63b1dffefc8c075ddc606c0a2f5fdc15ece78863.tif': 'cut short',
  'broken/decompression_bomb.gif': 'GIF',
  'broken/decompression_bomb.ico': 'ICO',
  'broken/heap-overflow.exr': 'OpenEXR',
  'broken/hopper_naxis_zero.fits': 'FITS',
  'broken/not_enough_data.jp2': 'JPEG 2000',
  'broken/truncated_app14.jpg': 'Corrupt JPEG data',
  'broken/truncated_end_chunk.png': 'cut short',
  'broken/truncated_image.png': 'cut short',
  'broken/truncated_jpeg.jpg': 'premature end',
};

const files: string[] = ['wrong-extension.jpeg'];
for (const folder of ['png', 'jpeg', 'tiff', 'other', 'broken', 'raw', 'exr', 'fits']) {
  for (const name of (await readdir(join(ROOT, folder))).sort()) files.push(`${folder}/${name}`);
}

function refusalOf(file: string): string | undefined {
  if (file.startsWith('raw/')) return 'camera raw';
  if (file.startsWith('exr/')) return 'OpenEXR';
  if (file.startsWith('fits/')) return 'FITS';
  return REFUSED[file];
}

const refused = files.filter((file) => refusalOf(file) !== undefined);

test('every file is either compared with another reader or refused', () => {
  const compared = Object.keys(references.recorded);
  expect([...refused, ...compared].sort()).toEqual([...files].sort());
});

test.each(refused)('%s is refused with its cause and what to export', async (file) => {
  const error = await readStill(join(ROOT, file)).catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(InputError);
  expect(error).toMatchObject({ code: 'FRAME_UNREADABLE' });
  expect((error as Error).message).toContain(refusalOf(file));
  expect((error as Error).message).toContain('Export 16-bit TIFF or PNG');
});

/** Half a 16-bit code where colours were divided by alpha; else what Float32 and the recipe's 9 digits leave. */
function toleranceOf(file: string): number {
  return file.includes('RGBa') ? 1.6 / 65535 : 1e-7;
}

describe('recorded values agree with other readers', () => {
  test.each(Object.entries(references.recorded))('%s', async (file, reference) => {
    const { image, notes } = await readStill(join(ROOT, file), { curve: 'linear' });
    expectReference(image, reference, (value) => value, toleranceOf(file));
    expect(notes.some((note) => note.includes('several pictures'))).toBe(file.endsWith('.mpo'));
  });
});

describe('colours agree with another colour engine', () => {
  test.each(Object.entries(references.srgb))('%s', async (file, reference) => {
    const { image, curve } = await readStill(join(ROOT, file));
    expect(curve).toBe('profile');
    // The engines round to 8 bits, each in its own way.
    expectReference(image, reference, encodeSrgb, 1.01 / 255);
  });
});

test.each([
  ['jpeg/Landscape_3.jpg', 1800, 1200],
  ['jpeg/Landscape_6.jpg', 1800, 1200],
  ['jpeg/Portrait_8.jpg', 1200, 1800],
])('%s comes upright', async (file, width, height) => {
  expect((await readStill(join(ROOT, file))).image).toMatchObject({ width, height });
});

test('the same scene in two stored orientations gives the same upright picture', async () => {
  const [a, b] = await Promise.all(['3', '6'].map((n) => readStill(join(ROOT, `jpeg/Landscape_${n}.jpg`))));
  let sum = 0;
  for (let i = 0; i < a!.image.planes[1]!.length; i++)
    sum += Math.abs(a!.image.planes[1]![i]! - b!.image.planes[1]![i]!);
  // JPEG's blocks fall differently on a turned picture; a wrong turn gives about 0.3.
  expect(sum / a!.image.planes[1]!.length).toBeLessThan(0.02);
});

test.each([
  ['png/basn2c16.png', 'linear'], // gAMA 1.0
  ['png/f04n2c08.png', 'srgb'], // says nothing
  ['tiff/tiff_16bit_RGBa.tiff', 'srgb'], // an sRGB profile with a table
  ['tiff/predictor-3-gray-f32.tif', 'linear'],
  ['tiff/flower-rgb-planar-32.tif', 'srgb'],
])('%s is understood as %s', async (file, curve) => {
  expect((await readStill(join(ROOT, file))).curve).toBe(curve);
});

function expectReference(
  image: { readonly width: number; readonly height: number; readonly planes: readonly Float32Array[] },
  reference: Reference,
  recordedOf: (linear: number) => number,
  tolerance: number,
): void {
  expect([image.width, image.height, image.planes.length]).toEqual([
    reference.width,
    reference.height,
    reference.channels,
  ]);
  image.planes.forEach((plane, channel) => {
    const mean = plane.reduce((sum, value) => sum + recordedOf(value), 0) / plane.length;
    expect(Math.abs(mean - reference.means[channel]!), `mean of channel ${channel}`).toBeLessThan(tolerance);
    for (const { x, y, values } of reference.pixels) {
      const off = Math.abs(recordedOf(plane[y * image.width + x]!) - values[channel]!);
      expect(off, `pixel ${x}, ${y}, channel ${channel}`).toBeLessThan(tolerance);
    }
  });
}
