import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { exif } from '../../test/pack.js';
import { makePlateFolder } from '../../test/plate-folder.js';
import { useScratch } from '../../test/scratch.js';
import { pictures } from '../capture/picture-library.js';
import { type PublishResult, publish } from '../publish.js';

const scratch = useScratch();
const taken = { utc: '2025-09-30T18:00:00.250Z', from: 'exif', uncertaintyS: 0.5 };
const maker = { creator: 'A. Author', licence: 'CC-BY-4.0', title: 'Edge', keywords: ['ridge'] };

let plain: PublishResult;
beforeAll(async () => {
  await makePlateFolder(scratch('plate'), { times: [taken] });
  plain = await publish(scratch('plate'), { toDir: scratch('pack'), maker });
});

test('a master of other colours is told as such, and its copies show the same light as those of sRGB', async () => {
  const colour = { encoding: 'linear', primaries: 'aces-ap1' } as const;
  await makePlateFolder(scratch('wide'), { times: [taken], colour, alpha: 'coverage-and-matte' });
  const { pictures: wide, copies } = await publish(scratch('wide'), { toDir: scratch('wide pack'), maker });
  expect(copies.gain).toBeCloseTo(plain.copies.gain, 3);
  expect(copies.part).toEqual(plain.copies.part);
  expect(wide.map(({ kind, colourSpace }) => [kind, colourSpace])).toEqual([
    ['master', 'ACES AP1, linear'],
    ...['full', 'preview', 'thumbnail'].map((kind) => [kind, 'sRGB']),
  ]);
  const profiles = exif(scratch('wide pack')).map((read) => [
    read['File:FileType'],
    read['ICC_Profile:ProfileDescription'],
  ]);
  expect(profiles).toContainEqual(['TIFF', 'ACES AP1, linear']);
  expect(profiles.filter(([, profile]) => profile === 'sRGB IEC61966-2-1').length).toBe(3);
  const shown = (folder: string): Promise<Buffer> =>
    pictures(join(scratch(folder), 'edge.jpg'), { ignoreIcc: true })
      .raw({ depth: 'uchar' })
      .toBuffer();
  const [wideCodes, srgbCodes] = [await shown('wide pack'), await shown('pack')];
  const squares = wideCodes.reduce((sum, code, i) => sum + (code - srgbCodes[i]!) ** 2, 0);
  // Rounding in the master tips a coefficient of the encoder's here and there; light read by the wrong curve is off by tens.
  expect(Math.sqrt(squares / wideCodes.length)).toBeLessThan(0.5);
  const table = (await readFile(join(scratch('wide pack'), 'listing.csv'), 'utf8')).split('\r\n');
  expect(table[0]).toContain('"bits","colour_space","bytes"');
  expect(table[1]).toContain(',16,"ACES AP1, linear",');
  expect(table[2]).toContain(',8,"sRGB",');
  const text = await readFile(join(scratch('wide pack'), 'README.txt'), 'utf8');
  expect(text).toContain('Colours of the master: ACES AP1, linear; of the JPEGs: sRGB.');
  expect(text).toContain('outside of the disc; along its edge in part');
});

test('a master of sRGB with plain coverage is told as that', async () => {
  const text = await readFile(join(scratch('pack'), 'README.txt'), 'utf8');
  expect(text).toContain('Colours of all: sRGB.');
  expect(text).toContain('transparent where no light was recorded, and opaque everywhere else');
  expect(plain.plate.alpha).toBe('coverage');
});

test('a synthetic plate is published as one, and as no photograph', async () => {
  await makePlateFolder(scratch('drawn'), { times: [taken], synthetic: true });
  const drawn = await publish(scratch('drawn'), { toDir: scratch('drawn pack'), maker });
  expect(drawn).toMatchObject({ takenUtc: null, plate: { synthetic: true }, rights: '© A. Author' });
  expect(drawn.keywords.slice(0, 2)).toEqual(['synthetic', 'ridge']);
  for (const read of exif(scratch('drawn pack'))) {
    expect(read['XMP-iptcExt:DigitalSourceType']).toBe(
      'http://cv.iptc.org/newscodes/digitalsourcetype/algorithmicMedia',
    );
    expect(read['XMP-dc:Description']).toMatch(
      /^A synthetic picture of the waxing gibbous Moon, 58 % of the disc lit\./,
    );
    expect(read['XMP-photoshop:DateCreated']).toBeUndefined();
  }
  expect(await readFile(join(scratch('drawn pack'), 'README.txt'), 'utf8')).toContain('The plate is synthetic: ');
  expect(plain.plate.synthetic).toBe(false);
});
