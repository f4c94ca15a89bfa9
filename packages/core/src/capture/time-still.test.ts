import { readdir, readFile, utimes, writeFile } from 'node:fs/promises';
import { extname } from 'node:path';
import { describe, expect, test } from 'vitest';
import { withChunk } from '../../test/png-file.js';
import { useScratch } from '../../test/scratch.js';
import { shared } from '../../test/shared.js';
import { tiffFile } from '../../test/tiff-file.js';
import { InputError } from '../job/errors.js';
import { type TiffEntry, tiffDirectory } from '../plate/tiff-layout.js';
import { pictures } from './picture-library.js';
import { readStillTime, type TimedFormat } from './time-still.js';

const scratch = useScratch();
const AT = Date.UTC(2025, 8, 8, 1, 28, 6);
const CHANGED = new Date('2026-02-03T04:05:06.789Z');

async function store(name: string, bytes: Buffer): Promise<string> {
  await writeFile(scratch(name), bytes);
  await utimes(scratch(name), CHANGED, CHANGED);
  return scratch(name);
}

type Exif = Parameters<ReturnType<typeof pictures>['withExif']>[0];

function picture(format: 'jpeg' | 'png', exif: Exif): Promise<Buffer> {
  const grey = { create: { width: 4, height: 3, channels: 3, background: '#777' } } as const;
  return pictures(grey).withExif(exif).toFormat(format).toBuffer();
}

const TAKEN = { DateTimeOriginal: '2025:09:08 01:28:06', SubSecTimeOriginal: '25', OffsetTimeOriginal: '+05:30' };

describe('Exif', () => {
  test.each(['jpeg', 'png'] as const)('in a %s', async (format) => {
    const exif = {
      IFD0: { DateTime: '2030:01:01 00:00:00' },
      IFD2: { ...TAKEN, ExposureTime: '1/250', ISOSpeedRatings: '400' },
    };
    expect(await readStillTime(await store(`exif.${format}`, await picture(format, exif)), format)).toEqual({
      stamp: { clockMs: AT + 250, stepS: 0.01, offsetMin: 330 },
      source: 'exif',
      meaning: 'taken',
      exposureS: 0.004,
      iso: 400,
      sensorTemperatureC: undefined,
      notes: [],
    });
  });

  test('the time of the last change when there is no other', async () => {
    const path = await store('changed.jpg', await picture('jpeg', { IFD0: { DateTime: '2025:09:08 01:28:06' } }));
    expect(await readStillTime(path, 'jpeg')).toMatchObject({
      stamp: { clockMs: AT, stepS: 1, offsetMin: undefined },
      source: 'exif',
      meaning: 'changed',
    });
  });

  test('decimals from XMP where it tells of the same second', async () => {
    const jpeg = await picture('jpeg', { IFD2: { DateTimeOriginal: '2025:09:08 01:28:06' } });
    const xmp = (time: string): string =>
      `<x:xmpmeta xmlns:x="adobe:ns:meta/"><r xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmp:CreateDate="${time}"/></x:xmpmeta>`;
    const both = async (time: string): Promise<unknown> => {
      const bytes = await pictures(jpeg).keepMetadata().withXmp(xmp(time)).toBuffer();
      return (await readStillTime(await store('both.jpg', bytes), 'jpeg')).stamp;
    };
    expect(await both('2025-09-08T01:28:06.75-04:00')).toEqual({
      clockMs: AT + 750,
      stepS: 0.01,
      offsetMin: undefined,
    });
    expect(await both('2025-09-08T01:28:07.75')).toEqual({ clockMs: AT, stepS: 1, offsetMin: undefined });
    const alone = await pictures(jpeg).withXmp(xmp('2025-09-08T01:28:07.75Z')).toBuffer();
    expect(await readStillTime(await store('xmp.jpg', alone), 'jpeg')).toMatchObject({
      stamp: { clockMs: AT + 1750, offsetMin: 0 },
      source: 'xmp',
      meaning: 'taken',
    });
  });
});

function ascii(tag: number, text: string): TiffEntry {
  return { tag, type: 'ascii', values: Buffer.from(`${text}\0`, 'latin1') };
}

/** A small TIFF with these tags in its first directory, and an Exif directory after everything else. */
function tiffWithExif(main: readonly TiffEntry[], inner: readonly TiffEntry[]): Buffer {
  const made = (at: number): Buffer => {
    const pointer: TiffEntry = { tag: 34665, type: 'long', values: [at] };
    return tiffFile({
      width: 2,
      height: 2,
      samples: new Uint8Array(4),
      bits: 8,
      perPixel: 1,
      tags: [...main, pointer],
    });
  };
  const at = made(0).length + (made(0).length & 1);
  return Buffer.concat([made(at), Buffer.alloc(at - made(at).length), tiffDirectory(false, at, inner)]);
}

describe('TIFF', () => {
  test('the Exif directory, wherever it lies', async () => {
    const inner = [ascii(36867, '2025:09:08 01:28:06'), ascii(37521, '25'), ascii(36881, '-03:30')];
    const sensitivity: TiffEntry = { tag: 34855, type: 'short', values: [65535] };
    const speed: TiffEntry = { tag: 34867, type: 'long', values: [102400] };
    const bytes = tiffWithExif([ascii(306, '2030:01:01 00:00:00')], [...inner, sensitivity, speed]);
    expect(await readStillTime(await store('exif.tif', bytes), 'tiff')).toMatchObject({
      stamp: { clockMs: AT + 250, stepS: 0.01, offsetMin: -210 },
      source: 'exif',
      meaning: 'taken',
      iso: 102400,
    });
  });

  test('tags of the exposure in the first directory, as in DNG, and an Exif directory that leads nowhere', async () => {
    const bytes = tiffWithExif([ascii(36867, '2025:09:08 01:28:06')], []).subarray(0, -8);
    expect(await readStillTime(await store('first.dng', bytes), 'dng')).toMatchObject({
      stamp: { clockMs: AT },
      meaning: 'taken',
    });
  });

  test('a text in UTF-8 of Exif 3.0, and a type that nobody knows', async () => {
    const bytes = tiffWithExif(
      [],
      [ascii(36867, '2025:09:08 01:28:06'), ascii(36868, '2020:01:01 00:00:00'), ascii(37521, '25')],
    );
    const typeOf = (tag: number): number =>
      bytes.indexOf(Buffer.from(Uint16Array.of(tag).buffer), bytes.length - 120) + 2;
    bytes.writeUInt16LE(129, typeOf(36867));
    bytes.writeUInt16LE(77, typeOf(37521));
    expect(await readStillTime(await store('utf8.tif', bytes), 'tiff')).toMatchObject({
      stamp: { clockMs: AT, stepS: 1 },
      meaning: 'taken',
    });
  });

  test('XMP', async () => {
    const packet = '<r xmlns:p="http://ns.adobe.com/photoshop/1.0/" p:DateCreated="2025-09-08T01:28:06Z"/>';
    const bytes = tiffWithExif([{ tag: 700, type: 'byte', values: Buffer.from(packet) }], [ascii(37521, '25')]);
    expect(await readStillTime(await store('xmp.tif', bytes), 'tiff')).toMatchObject({
      stamp: { clockMs: AT },
      source: 'xmp',
    });
  });
});

describe('PNG', () => {
  const plain = picture('png', {}).then((png) => pictures(png).png().toBuffer());

  test('the chunk tIME', async () => {
    const bytes = withChunk(await plain, 'tIME', Buffer.from([0x07, 0xe9, 9, 8, 1, 28, 6]));
    expect(await readStillTime(await store('time.png', bytes), 'png')).toMatchObject({
      stamp: { clockMs: AT, stepS: 1, offsetMin: 0 },
      source: 'png',
      meaning: 'changed',
    });
  });

  test.each([
    ['2025-09-08T01:28:06.5', 500, undefined],
    ['Mon, 08 Sep 2025 01:28:06 +0530', 0, 330],
  ])('the text Creation Time: %s', async (text, intoMs, offsetMin) => {
    const bytes = withChunk(await plain, 'tEXt', Buffer.from(`Creation Time\0${text}`, 'latin1'));
    expect(await readStillTime(await store('text.png', bytes), 'png')).toMatchObject({
      stamp: { clockMs: AT + intoMs, offsetMin },
      source: 'png',
      meaning: 'taken',
    });
  });

  test('a tIME that is no time', async () => {
    const bytes = withChunk(await plain, 'tIME', Buffer.from([0, 0, 13, 8, 1, 28, 6]));
    expect(await readStillTime(await store('wrong.png', bytes), 'png')).toMatchObject({ source: 'file' });
  });
});

describe('the file', () => {
  test('when nothing else says anything', async () => {
    expect(await readStillTime(await store('plain.bin', Buffer.from('x')), 'other')).toEqual({
      stamp: { clockMs: CHANGED.getTime(), stepS: 0.001, offsetMin: 0 },
      source: 'file',
      meaning: 'changed',
      exposureS: undefined,
      iso: undefined,
      sensorTemperatureC: undefined,
      notes: [],
    });
  });

  test.each(['no such file', '.'])('%s', async (name) => {
    const error = await readStillTime(scratch(name), 'jpeg').catch((reason: unknown) => reason);
    expect(error).toBeInstanceOf(InputError);
    expect(error).toMatchObject({ code: 'FRAME_UNREADABLE' });
  });
});

describe('real files', () => {
  const real: [string, TimedFormat, string, number, Record<string, unknown>][] = [
    [
      'photos/eclipse-1.jpg',
      'jpeg',
      '2025-09-08T01:28:06.028',
      0.001,
      { source: 'exif', meaning: 'taken', iso: 80, exposureS: expect.closeTo(1 / 518, 8) },
    ],
    ['photos/eclipse-2.jpg', 'jpeg', '2025-09-08T01:29:40.486', 0.001, { source: 'exif', meaning: 'taken', iso: 50 }],
    ['photos/eclipse-3.jpg', 'jpeg', '2025-09-08T01:29:57.267', 0.001, { source: 'exif', meaning: 'taken', iso: 50 }],
    ['photos/negative-garden-night.jpg', 'jpeg', '2018-01-31T21:43:12.029', 0.001, { exposureS: 0.25, iso: 1600 }],
    ['formats/other/frozenpond.mpo', 'jpeg', '2014-03-02T13:30:00', 1, { source: 'exif', meaning: 'taken' }],
    ['formats/jpeg/exif_typeerror.jpg', 'jpeg', '2010-07-11T13:53:00', 1, { source: 'xmp', meaning: 'taken' }],
    [
      'formats/raw/header-only.dng',
      'dng',
      '2005-08-03T18:59:18',
      1,
      { source: 'exif', meaning: 'taken', iso: 400, exposureS: expect.closeTo(1 / 15, 8) },
    ],
    ['formats/tiff/predictor-3-gray-f32.tif', 'tiff', '2021-05-16T16:00:12', 1, { source: 'exif', meaning: 'changed' }],
    ['formats/tiff/cmyk-4c-8b.tiff', 'tiff', '2022-12-06T12:02:32', 1, { source: 'xmp', meaning: 'taken' }],
    [
      'formats/fits/test0.fits',
      'fits',
      '1994-05-19T15:41:16',
      1,
      { source: 'fits', meaning: 'taken', exposureS: 0.23 },
    ],
    [
      'formats/fits/sun-float64-128.fits',
      'fits',
      '2011-02-15T00:00:00.34',
      0.01,
      { source: 'fits', meaning: 'taken', exposureS: 2.000191 },
    ],
  ];

  test.each(real)('%s', async (file, format, clock, stepS, rest) => {
    const found = await readStillTime(shared('real', file), format);
    expect(found.stamp.clockMs).toBeCloseTo(Date.parse(`${clock}Z`), 6);
    expect(found.stamp.stepS).toBe(stepS);
    expect(found).toMatchObject(rest);
    expect(found.notes).toEqual([]);
  });

  test('zones', async () => {
    const zone = async (file: string, format: TimedFormat): Promise<unknown> =>
      (await readStillTime(shared('real', file), format)).stamp.offsetMin;
    expect(await zone('photos/eclipse-1.jpg', 'jpeg')).toBe(330);
    expect(await zone('photos/negative-garden-night.jpg', 'jpeg')).toBeUndefined();
    expect(await zone('formats/fits/test0.fits', 'fits')).toBe(0);
  });

  test('exposures of three units of one FITS: that of the first', async () => {
    const found = await readStillTime(shared('real/formats/fits/uint16-bzero-three-images.fits'), 'fits');
    expect(found).toMatchObject({ source: 'file', exposureS: 0.008 });
  });

  const FORMATS: Readonly<Record<string, TimedFormat>> = {
    ...{ '.jpg': 'jpeg', '.jpeg': 'jpeg', '.mpo': 'jpeg', '.png': 'png', '.tif': 'tiff', '.tiff': 'tiff' },
    ...{ '.dng': 'dng', '.cr2': 'tiff', '.nef': 'tiff', '.fits': 'fits' },
  };

  test('every file of the set gives a time, and quickly, however broken', async () => {
    const before = process.cpuUsage();
    let count = 0;
    for (const folder of ['png', 'jpeg', 'tiff', 'other', 'broken', 'raw', 'exr', 'fits']) {
      for (const name of await readdir(shared('real/formats', folder))) {
        const found = await readStillTime(shared('real/formats', folder, name), FORMATS[extname(name)] ?? 'other');
        expect(Number.isFinite(found.stamp.clockMs), name).toBe(true);
        count++;
      }
    }
    expect(count).toBeGreaterThan(90);
    expect(process.cpuUsage(before).user / 1e6).toBeLessThan(20);
  });

  test('an Exif block that is none is told', async () => {
    const found = await readStillTime(shared('real/formats/broken/invalid-exif.jpg'), 'jpeg');
    expect(found.notes).toHaveLength(1);
    expect(found.notes[0]).toMatch(/^Its Exif record cannot be read: .*\.$/);
  });

  test('no file stays open', async () => {
    const open = async (): Promise<number> => (await readdir('/proc/self/fd')).length;
    const jpeg = await readFile(shared('real/photos/eclipse-1.jpg'));
    const cut = await store('cut.jpg', jpeg.subarray(0, 3000));
    await readStillTime(cut, 'jpeg');
    const before = await open();
    for (let i = 0; i < 20; i++)
      for (const format of ['jpeg', 'tiff', 'fits', 'png'] as const) await readStillTime(cut, format);
    expect(await open()).toBeLessThan(before + 5);
  });
});
