import { chmod, copyFile, mkdir, readdir, readFile, utimes, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { pictures } from '../src/capture/picture-library.js';
import { parseSettings } from '../src/capture/settings-read.js';
import { checkCapture } from '../src/check.js';
import { useScratch } from './scratch.js';
import { shared } from './shared.js';

const scratch = useScratch();
let made = 0;

/** A capture whose stills have these tags, by path. */
async function captureOf(files: readonly string[], tags: Record<string, Record<string, string>> = {}): Promise<string> {
  const root = scratch(`capture ${made++}`);
  for (const [i, path] of files.entries()) {
    await mkdir(join(root, path, '..'), { recursive: true });
    const raw = { width: 8, height: 6, channels: 3 } as const;
    await pictures(Buffer.alloc(8 * 6 * 3, 80 + i), { raw })
      .withExif(tags)
      .jpeg()
      .toFile(join(root, path));
  }
  return root;
}

const settingsOf = async (root: string) => parseSettings(await readFile(join(root, 'capture.yaml')), 'capture.yaml');

const CAMERA = {
  IFD0: { Make: 'Example', Model: 'Example Mark 2' },
  IFD2: {
    DateTimeOriginal: '2031:03:04 20:15:06',
    OffsetTimeOriginal: '+01:00',
    ExposureTime: '1/125',
    FocalLength: '2000/1',
    FNumber: '10/1',
    LensModel: 'long refractor',
    FocalPlaneXResolution: '2500/1',
    FocalPlaneResolutionUnit: '3',
  },
  IFD3: {
    GPSLatitudeRef: 'S',
    GPSLatitude: '33/1 30/1 36/1',
    GPSLongitudeRef: 'W',
    GPSLongitude: '70/1 15/1 0/1',
    GPSAltitude: '850/1',
  },
};

describe('checkCapture', () => {
  it('says what passes there are, when they began, and what is left out', async () => {
    const root = await captureOf(['low/1.jpg', 'low/2.jpg', 'high/1.jpg', 'dark/1.jpg', 'guide/g.jpg'], CAMERA);
    await writeFile(join(root, 'low', 'notes.txt'), 'text');
    const found = await checkCapture(root, { look: false });
    expect(found.passes).toMatchObject([
      { name: 'high', frames: 1, widthPx: 8, heightPx: 6, exposureS: 1 / 125, firstUtc: '2031-03-04T19:15:06.500Z' },
      { name: 'low', kind: 'stills', frames: 2, timeFrom: 'exif' },
    ]);
    expect(found).toMatchObject({ guide: 'guide/g.jpg', calibration: [{ kind: 'dark', frames: 1 }] });
    expect(found.leftOut).toMatchObject([{ item: 'low/notes.txt', reason: 'not-an-image' }]);
    expect(found.settingsPath).toBeNull();
    expect((await readdir(root)).sort()).toEqual(['dark', 'guide', 'high', 'low']);
  });

  it('times of files: a whole second among finer ones is no other, and the earliest comes first', async () => {
    const root = await captureOf(['pass/1.jpg', 'pass/2.jpg', 'pass/3.jpg']);
    const changed = ['1', '2', '3'].map((name) => join(root, 'pass', `${name}.jpg`));
    const lookedAt = async (...utc: string[]) => {
      for (const [i, path] of changed.entries()) await utimes(path, new Date(utc[i]!), new Date(utc[i]!));
      const { firstUtc, lastUtc, durationS } = (await checkCapture(root, { look: false })).passes[0]!;
      return [firstUtc, lastUtc, durationS];
    };
    // The first on a full second, as one in a hundred is where a card counts in 10 ms.
    const span = ['2031-03-04T20:15:06.000Z', '2031-03-04T20:15:06.080Z', expect.closeTo(0.08, 5)];
    expect(await lookedAt('2031-03-04T20:15:06Z', '2031-03-04T20:15:06.040Z', '2031-03-04T20:15:06.080Z')).toEqual(
      span,
    );
    expect(await lookedAt('2031-03-04T20:15:06.080Z', '2031-03-04T20:15:06Z', '2031-03-04T20:15:06.040Z')).toEqual(
      span,
    );
  });

  it('writes settings with what the files tell, which change nothing when they are read', async () => {
    const root = await captureOf(['low/1.jpg', 'high 2/1.jpg', 'dark/1.jpg', 'guide/g.jpg'], CAMERA);
    const before = await checkCapture(root, { look: false });
    const { settingsPath, settingsFields } = await checkCapture(root, { init: true });
    expect(settingsPath).toBe(join(root, 'capture.yaml'));
    expect(before.settingsFields).toBeNull();
    expect(settingsFields!.filledIn).toEqual([
      ...['site.latitudeDeg', 'site.longitudeDeg', 'site.heightM'],
      ...['optics.name', 'optics.focalLengthMm', 'optics.apertureMm'],
      ...['sensor.name', 'sensor.widthPx', 'sensor.heightPx', 'sensor.pitchUm'],
      ...['passes.folder', 'passes.role', 'passes.exposureS', 'calibration.dark'],
    ]);
    expect(settingsFields!.off).toEqual(expect.arrayContaining(['title', 'site.timeZone', 'calibration.flat']));
    expect(await settingsOf(root)).toEqual({
      site: { latitudeDeg: -33.51, longitudeDeg: -70.25, heightM: 850 },
      optics: { name: 'long refractor', focalLengthMm: 2000, apertureMm: 200 },
      sensor: { name: 'Example Mark 2', widthPx: 8, heightPx: 6, pitchUm: 4 },
      passes: [
        { folder: 'high 2', exposureS: 0.008 },
        { folder: 'low', exposureS: 0.008 },
        { folder: 'guide', role: 'guide' },
      ],
      calibration: { dark: 'dark' },
    });
    const after = await checkCapture(root, { look: false });
    expect({ ...after, timeLeft: null }).toEqual(before);
    expect(after.timeLeft).not.toBeNull();
  });

  it('infers from FITS keywords, and takes no focal length from a camera that knows no lens', async () => {
    const root = scratch('fits');
    await mkdir(join(root, 'pass'), { recursive: true });
    const cards = ["INSTRUME= 'mono one'", "TELESCOP= 'long reflector'", 'FOCALLEN= 1500.0', 'APTDIA  = 200.0']
      .concat(['XPIXSZ  = 3.76', "SITELAT = '46 37 12'", "SITELONG= '-08:02:24.0'"])
      .concat(['EXPTIME = 0.004']);
    const facts = ['SIMPLE  = T', 'BITPIX  = 8', 'NAXIS   = 2', 'NAXIS1  = 4', 'NAXIS2  = 3', ...cards, 'END'];
    const header = facts.map((card) => card.padEnd(80)).join('');
    const bytes = Buffer.concat([Buffer.from(header.padEnd(2880), 'latin1'), Buffer.alloc(2880, 0)]);
    await writeFile(join(root, 'pass', '1.fits'), bytes);
    await checkCapture(root, { init: true });
    expect(await settingsOf(root)).toEqual({
      site: { latitudeDeg: 46.62, longitudeDeg: -8.04 },
      optics: { name: 'long reflector', focalLengthMm: 1500, apertureMm: 200 },
      sensor: { name: 'mono one', widthPx: 4, heightPx: 3, pitchUm: 3.76 },
    });
    const { LensModel: _, ...withoutLens } = CAMERA.IFD2;
    const plain = await captureOf(['pass/1.jpg'], { IFD2: withoutLens });
    await checkCapture(plain, { init: true });
    expect((await settingsOf(plain)).optics).toBeUndefined();
  });

  it('lists clips, and no folder of everything, which would not be parted then', async () => {
    const everything = await captureOf(['1.jpg', '2.jpg']);
    await checkCapture(everything, { init: true });
    expect(await settingsOf(everything)).toEqual({ sensor: { widthPx: 8, heightPx: 6 } });
    const clips = await captureOf(['low/1.jpg', 'high/1.jpg']);
    await copyFile(new URL('clips/prores.mov', import.meta.url), join(clips, 'the limb.mov'));
    await checkCapture(clips, { init: true });
    expect((await settingsOf(clips)).passes).toEqual([{ folder: 'high' }, { folder: 'low' }, { clip: 'the limb.mov' }]);
  });

  it('gives the size as recorded of pictures that are to be turned', async () => {
    const root = await captureOf(['1.jpg']);
    const raw = { width: 8, height: 6, channels: 3 } as const;
    await pictures(Buffer.alloc(144, 80), { raw }).withMetadata({ orientation: 6 }).jpeg().toFile(join(root, '1.jpg'));
    const { passes } = await checkCapture(root, { init: true });
    expect(passes).toMatchObject([{ widthPx: 6, heightPx: 8 }]);
    expect((await settingsOf(root)).sensor).toEqual({ widthPx: 8, heightPx: 6 });
  });

  it('prepares a folder without pictures, and says what is no use in it', async () => {
    const root = scratch('tonight');
    await mkdir(join(root, 'lower'), { recursive: true });
    await writeFile(join(root, 'notes.txt'), 'bring a chair');
    const found = await checkCapture(root, { init: true, look: true });
    expect(found).toMatchObject({ passes: [], look: null, complete: null });
    expect(found.leftOut.map(({ item }) => item)).toEqual(['notes.txt', 'lower']);
    expect(found.settingsFields!.filledIn).toEqual([]);
    expect(await settingsOf(root)).toEqual({});
    const text = await readFile(found.settingsPath!, 'utf8');
    expect(text).toContain('\n#site:\n');
    for (const line of text.trimEnd().split('\n')) expect(line).toMatch(/^(#|$)/);
    await expect(checkCapture(root)).rejects.toMatchObject({ code: 'CAPTURE_EMPTY' });
  });

  it('never replaces settings', async () => {
    const root = await captureOf(['low/1.jpg']);
    await writeFile(join(root, 'capture.yaml'), 'title: mine\n');
    await expect(checkCapture(root, { init: true })).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
    expect(await readFile(join(root, 'capture.yaml'), 'utf8')).toBe('title: mine\n');
  });

  it('names of any kind are listed as they are, or not at all', async () => {
    const root = await captureOf(['a "b" \'c\': #d/1.jpg', 'e\\f/1.jpg', 'g\nh/1.jpg', 'луна 月/1.jpg']);
    const before = await checkCapture(root, { look: false });
    expect(before.passes).toHaveLength(4);
    await checkCapture(root, { init: true });
    expect((await settingsOf(root)).passes).toContainEqual({ folder: 'луна 月' });
    expect((await checkCapture(root, { look: false })).passes.map(({ name }) => name).sort()).toEqual(
      before.passes.map(({ name }) => name).sort(),
    );
  });

  it('says nothing of devices where the records are broken', async () => {
    const root = scratch('broken');
    await mkdir(join(root, 'pass'), { recursive: true });
    const bytes = await readFile(shared('real/formats/broken/invalid-exif.jpg'));
    await writeFile(join(root, 'pass', '1.jpg'), bytes);
    await chmod(join(root, 'pass', '1.jpg'), 0o444);
    await checkCapture(root, { init: true });
    expect(Object.keys(await settingsOf(root)).sort()).toEqual(['sensor']);
  });
});
