import { open, readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { InputError } from '../job/errors.js';
import { bytesOf } from './byte-source.js';
import { encodeSrgb } from './curves.js';
import { readDngCodes } from './dng-codes.js';
import { readDngLayout } from './dng-layout.js';
import { lightOf } from './dng-levels.js';
import { type DecodedStill, readStill } from './read-still.js';

const ROOT = '../shared/real/formats';

interface Reference {
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  readonly means: readonly number[];
  readonly pixels: readonly { readonly x: number; readonly y: number; readonly values: readonly number[] }[];
}

type References = Readonly<Record<'recorded' | 'mosaic' | 'srgb', Readonly<Record<string, Reference>>>>;

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
  'broken/broken_data_stream.png': 'cut short',
  'broken/crash-1152ec2d1a1a71395b6f2ce6721c38924d025bf3.tif': 'cut short',
  'broken/crash-63b1dffefc8c075ddc606c0a2f5fdc15ece78863.tif': 'cut short',
  'broken/decompression_bomb.gif': 'GIF',
  'broken/decompression_bomb.ico': 'ICO',
  'broken/heap-overflow.exr': 'deep data',
  'broken/hopper_naxis_zero.fits': 'something other than keywords',
  'broken/not_enough_data.jp2': 'JPEG 2000',
  'broken/truncated_app14.jpg': 'Corrupt JPEG data',
  'broken/truncated_end_chunk.png': 'cut short',
  'broken/truncated_image.png': 'cut short',
  'broken/truncated_jpeg.jpg': 'premature end',
  'exr/AllHalfValues.exr': 'a sample is 16',
  'exr/BrightRingsNanInf.exr': 'a sample is 46',
  'exr/WideFloatRange.exr': 'its channels are G',
  'fits/blank.fits': '1 of its samples are missing',
  'fits/float32-nan-inf.fits': '17 of its samples are missing',
  'fits/verify.fits': 'no picture',
  'fits/zerowidth.fits': 'no picture',
  'raw/header-only.dng': 'it lists 1 of its 140 strips or tiles',
  'raw/raw-header-only.cr2': 'camera raw of its maker',
  'raw/raw-header-only.nef': 'camera raw of its maker',
  'raw/raw-header-only.raf': 'camera raw of its maker',
};

const files: string[] = ['wrong-extension.jpeg'];
for (const folder of ['png', 'jpeg', 'tiff', 'other', 'broken', 'raw', 'exr', 'fits']) {
  for (const name of (await readdir(join(ROOT, folder))).sort()) files.push(`${folder}/${name}`);
}

const refused = files.filter((file) => REFUSED[file] !== undefined);

test('every file is either compared with another reader or refused', () => {
  const compared = [...Object.keys(references.recorded), ...Object.keys(references.mosaic)];
  expect([...refused, ...compared].sort()).toEqual([...files].sort());
});

test.each(refused)('%s is refused with its cause and what to export', async (file) => {
  const error = await readStill(join(ROOT, file)).catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(InputError);
  expect(error).toMatchObject({ code: 'FRAME_UNREADABLE' });
  expect((error as Error).message).toContain(REFUSED[file]);
  expect((error as Error).message).toMatch(/xport 16-bit TIFF or PNG/);
});

/** Half a 16-bit code where colours were divided by alpha; else what Float32 and the recipe's 9 digits leave. */
function toleranceOf(file: string): number {
  return file.includes('RGBa') ? 1.6 / 65535 : 1e-7;
}

describe('recorded values agree with other readers', () => {
  test.each(Object.entries(references.recorded))('%s', async (file, reference) => {
    const { image, notes } = await readStill(join(ROOT, file), { curve: 'linear' });
    expectReference(image, reference, (value) => value, toleranceOf(file));
    const several = file.endsWith('.mpo') || ['fits/test0.fits', 'fits/uint16-bzero-three-images.fits'].includes(file);
    expect(notes.some((note) => /holds \w+ pictures/.test(note))).toBe(several);
  });
});

describe('the mosaic of a sensor agrees with another reader', () => {
  test.each(Object.entries(references.mosaic))('%s', async (name, reference) => {
    const file = await open(join(ROOT, name));
    const source = bytesOf(file, (await file.stat()).size);
    const layout = await readDngLayout(source);
    const whole = { x: 0, y: 0, width: layout.widthPx, height: layout.heightPx };
    const { planes, width, height } = lightOf(await readDngCodes(source, layout), {
      ...layout,
      crop: whole,
      active: whole,
    });
    await file.close();
    expectReference({ width, height, planes }, reference, (value) => value, 1e-7);
  });
});

test('the table of all of them in docs/formats.md is what happens', async () => {
  const rows: string[] = [];
  for (const file of [...files].sort()) {
    const row = await readStill(join(ROOT, file)).then(rowOf, (error: Error) => ['-', refusalOf(error)]);
    rows.push(`| ${[`\`${file}\``, ...row].join(' | ')} |`);
  }
  await expect([...INTRODUCTION, ...rows, ''].join('\n')).toMatchFileSnapshot('../../../../docs/formats.md');
});

const INTRODUCTION = [
  '# What is read of real files',
  '',
  'Made by `packages/core/src/capture/real-formats.test.ts` from photographs, frames and odd and broken files that nobody',
  'here made; `npm test` compares the values of those that are read with other readers.',
  '',
  '| file | read as | notes, or why it is refused |',
  '| --- | --- | --- |',
];

function rowOf({ image, bitsPerSample, curve, notes }: DecodedStill): string[] {
  const colours = image.planes.length === 1 ? 'grey' : 'RGB';
  return [`${image.width} x ${image.height} ${colours}, ${bitsPerSample} bits, ${curve}`, notes.join(' ')];
}

function refusalOf({ message }: Error): string {
  return /cannot be read as a frame: (.*?)\. (Export|Convert) /s.exec(message)![1]!;
}

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
