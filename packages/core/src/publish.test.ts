import { execFileSync } from 'node:child_process';
import { mkdir, readdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { exif, tree } from '../test/pack.js';
import { makePlateFolder, PLATE_SIZE } from '../test/plate-folder.js';
import { useScratch } from '../test/scratch.js';
import { decodeSrgb, encodeSrgb } from './capture/curves.js';
import { pictures } from './capture/picture-library.js';
import { type PublishOptions, type PublishResult, publish } from './publish.js';
import { verifyPack } from './verify-pack.js';

const scratch = useScratch();
const taken = { utc: '2025-09-30T18:00:00.250Z', from: 'exif', uncertaintyS: 0.5 };
const maker = {
  creator: 'Ä. "Author" & <Co>',
  licence: 'CC-BY-4.0',
  title: "=The Moon's edge",
  licensorUrl: 'https://example.org/ask?a=1&b=2',
  keywords: ['@ridge'],
};
const make = (name: string, options: Partial<PublishOptions> = {}): Promise<PublishResult> =>
  publish(scratch('plate'), { toDir: scratch(name), maker, ...options });
const files = ['the-moon-s-edge.tif', 'the-moon-s-edge.jpg', 'the-moon-s-edge-200.jpg', 'the-moon-s-edge-120.jpg'];

let result: PublishResult;
beforeAll(async () => {
  await makePlateFolder(scratch('plate'), { times: [taken] });
  result = await make('pack', { sizesPx: [120, 200, 120], watermark: 'SAMPLE' });
});

test('a pack holds pictures, licence, listing and hashes that hold', async () => {
  expect(await readdir(scratch('pack'))).toEqual(
    [
      ...files,
      ...['the-moon-s-edge-preview.jpg', 'the-moon-s-edge-thumbnail.jpg'],
      ...['LICENCE.txt', 'README.txt', 'SHA256SUMS', 'listing.csv', 'listing.json'],
    ].sort(),
  );
  const said = execFileSync('sha256sum', ['-c', '--strict', 'SHA256SUMS'], { cwd: scratch('pack'), encoding: 'utf8' });
  expect(said.trimEnd().split('\n').length).toBe(10);
  expect(await verifyPack(scratch('pack'))).toMatchObject({ checked: 10, differences: [] });
  const { packDir, ...listing } = result;
  expect(packDir).toBe(scratch('pack'));
  expect(JSON.parse(await readFile(join(packDir, 'listing.json'), 'utf8'))).toEqual(listing);
  for (const { file, sha256 } of listing.pictures) expect((await tree(packDir))[file]).toBe(sha256);
  const table = await readFile(join(packDir, 'listing.csv'), 'utf8');
  expect(table.split('\r\n').length).toBe(8);
  expect(table).toContain(`"'=The Moon's edge"`);
  expect(table).toContain(`"'@ridge, moon, lunar`);
  expect(table).toContain('"Ä. ""Author"" & <Co>"');
  expect(await readFile(join(packDir, 'README.txt'), 'utf8')).toContain('The waxing gibbous Moon');
});

/** IPTC Photo Metadata by exiftool's names, as the pack's pictures have to carry them. */
const TABLE: Readonly<Record<string, unknown>> = {
  'XMP-dc:Title': "=The Moon's edge",
  'XMP-photoshop:Headline': "=The Moon's edge",
  'XMP-dc:Description': expect.stringMatching(
    /^The waxing gibbous Moon, 58 % of the disc lit, taken on 30 September 2025\./,
  ),
  'XMP-dc:Subject': expect.arrayContaining(['@ridge', 'moon', 'waxing gibbous moon', 'terminator', 'Clavius']),
  'XMP-dc:Creator': ['Ä. "Author" & <Co>'],
  'XMP-dc:Rights': '© 2025 Ä. "Author" & <Co>',
  'XMP-photoshop:Credit': 'Ä. "Author" & <Co>',
  'XMP-photoshop:Source': 'Ä. "Author" & <Co>',
  'XMP-photoshop:DateCreated': '2025:09:30 18:00:00Z',
  'XMP-xmp:CreateDate': '2025:09:30 18:00:00Z',
  'XMP-xmp:CreatorTool': expect.stringMatching(/^plenilune \d+\.\d+\.\d+$/),
  'XMP-xmpRights:Marked': true,
  'XMP-xmpRights:UsageTerms':
    'Creative Commons Attribution 4.0 International, https://creativecommons.org/licenses/by/4.0/',
  'XMP-xmpRights:WebStatement': 'https://creativecommons.org/licenses/by/4.0/',
  'XMP-plus:CopyrightOwner': [{ CopyrightOwnerName: 'Ä. "Author" & <Co>' }],
  'XMP-plus:Licensor': [{ LicensorName: 'Ä. "Author" & <Co>', LicensorURL: 'https://example.org/ask?a=1&b=2' }],
  'XMP-iptcExt:DigitalSourceType': 'http://cv.iptc.org/newscodes/digitalsourcetype/computationalCapture',
  'XMP-iptcExt:DigitalImageGUID': expect.stringMatching(
    /^[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/,
  ),
  'XMP-iptcCore:AltTextAccessibility': expect.stringMatching(/^The waxing gibbous Moon, 58 % of the disc lit, against/),
};

test('exiftool reads every field back, from the master and from each copy', () => {
  const all = exif(scratch('pack'));
  expect(all.length).toBe(6);
  for (const read of all) {
    const own = Object.entries(read).filter(([name]) => /^XMP-(?!x:)/.test(name));
    expect(Object.fromEntries(own)).toEqual(TABLE);
    expect(read['ICC_Profile:ProfileDescription']).toBe('sRGB IEC61966-2-1');
    expect(read['ExifTool:Error']).toBeUndefined();
    expect(Object.keys(read).filter((name) => /GPS|Serial/i.test(name))).toEqual([]);
  }
  expect(new Set(all.map((read) => read['XMP-iptcExt:DigitalImageGUID'])).size).toBe(6);
});

test('the same plate and words give the same bytes', async () => {
  await make('again', { sizesPx: [200, 120], watermark: 'SAMPLE' });
  expect(await tree(scratch('again'))).toEqual(await tree(scratch('pack')));
});

test('the master is the plate, and copies show its light without the ragged edge', async () => {
  const { x, y, widthPx, heightPx } = result.copies.part;
  expect({ x, y, widthPx, heightPx }).toEqual({
    x: 6,
    y: 6,
    widthPx: PLATE_SIZE.width - 12,
    heightPx: PLATE_SIZE.height - 12,
  });
  const raw = (path: string, depth: 'uchar' | 'ushort'): Promise<Buffer> =>
    pictures(path, { ignoreIcc: true })
      .toColourspace(depth === 'uchar' ? 'srgb' : 'rgb16')
      .raw({ depth })
      .toBuffer();
  const plate = await raw(join(scratch('plate'), 'plate.tif'), 'ushort');
  expect((await raw(join(scratch('pack'), files[0]!), 'ushort')).equals(plate)).toBe(true);
  const copy = await raw(join(scratch('pack'), files[1]!), 'uchar');
  const codes = new Uint16Array(plate.buffer, plate.byteOffset, plate.length / 2);
  let squares = 0;
  let sum = 0;
  for (let i = 0; i < widthPx * heightPx; i++) {
    const at = 4 * ((y + Math.floor(i / widthPx)) * PLATE_SIZE.width + x + (i % widthPx));
    for (let c = 0; c < 3; c++) {
      const shown = 255 * encodeSrgb(Math.min(1, result.copies.gain * decodeSrgb(codes[at + c]! / 65535)));
      squares += (copy[3 * i + c]! - shown) ** 2;
      sum += copy[3 * i + c]! - shown;
    }
  }
  // Noise from pixel to pixel at quality 95: what the encoder loses, and no lean to either side.
  expect(Math.sqrt(squares / (3 * widthPx * heightPx))).toBeLessThan(4);
  expect(Math.abs(sum / (3 * widthPx * heightPx))).toBeLessThan(0.2);
  expect(result.pictures.map((one) => [one.kind, one.widthPx, one.heightPx])).toEqual([
    ['master', 300, 260],
    ['full', 288, 248],
    ['sized', 200, 172],
    ['sized', 120, 103],
    ['preview', 288, 248],
    ['thumbnail', 288, 248],
  ]);
});

test('a mark lies over preview and thumbnail alone', async () => {
  expect(result.pictures.filter(({ marked }) => marked).map(({ kind }) => kind)).toEqual(['preview', 'thumbnail']);
  await make('unmarked', { sizesPx: [200, 120] });
  const [marked, plain] = [await tree(scratch('pack')), await tree(scratch('unmarked'))];
  const differ = Object.keys(plain).filter((name) => /jpg|tif/.test(name) && plain[name] !== marked[name]);
  expect(differ).toEqual(['the-moon-s-edge-preview.jpg', 'the-moon-s-edge-thumbnail.jpg']);
});

test('a BigTIFF, a gap, and a plate with sessions days apart', async () => {
  const second = { ...taken, utc: '2025-10-01T18:00:00.000Z' };
  const coverage = (x: number): number => (x > 140 && x < 150 ? 0 : 1);
  await makePlateFolder(scratch('gap'), { bigtiff: true, times: [taken, second], complete: false, coverage });
  const gap = await publish(scratch('gap'), { toDir: scratch('gap pack'), maker: { ...maker, licence: 'CC0-1.0' } });
  expect(gap.copies.part).toEqual({ x: 0, y: 0, widthPx: 300, heightPx: 260 });
  expect(gap.plate.complete).toBe(false);
  expect(gap.rights).toBe('Ä. "Author" & <Co> has waived all rights (CC0 1.0)');
  const [read] = exif(scratch('gap pack')).filter(({ SourceFile }) => String(SourceFile).endsWith('.tif'));
  expect(read!['File:FileType']).toBe('BTF');
  expect(read!['XMP-iptcExt:DigitalSourceType']).toMatch(/compositeCapture$/);
  expect(read!['XMP-xmpRights:Marked']).toBe(false);
  expect(await readFile(join(scratch('gap pack'), 'README.txt'), 'utf8')).toContain('The plate is incomplete');
});

describe('the site', () => {
  const yaml =
    'title: Ridge\nsite: { latitudeDeg: 46.6213, longitudeDeg: -8.0407, heightM: 1034 }\n' +
    'rights: { creator: B, licence: CC-BY-4.0 }\nlisting: { keywords: [alps] }\n';

  test('is told nowhere', async () => {
    await writeFile(scratch('capture.yaml'), yaml);
    const { packDir, keywords } = await publish(scratch('plate'), {
      toDir: scratch('quiet'),
      factsPath: scratch('capture.yaml'),
    });
    expect(keywords[0]).toBe('alps');
    for (const name of await readdir(packDir)) {
      const text = (await readFile(join(packDir, name))).toString('latin1');
      for (const trace of ['46.62', '8.0407', '46,37', '8,2.4', 'GPS', '1034']) {
        if (/\.(txt|csv|json)$/.test(name) || trace !== '1034')
          expect(text.includes(trace), `${name}: ${trace}`).toBe(false);
      }
    }
  });

  test('is told where it is asked for, and refused where it is not known', async () => {
    await writeFile(scratch('capture.yaml'), yaml);
    const options = { toDir: scratch('told'), factsPath: scratch('capture.yaml'), keepLocation: true };
    await publish(scratch('plate'), options);
    for (const read of exif(scratch('told'))) {
      expect(read['XMP-exif:GPSLatitude']).toBe(`46 deg 37' 16.68" N`);
      expect(read['XMP-exif:GPSLongitude']).toBe(`8 deg 2' 26.52" W`);
      expect(read['XMP-exif:GPSAltitude']).toBe('1034 m');
    }
    await expect(make('nowhere', { keepLocation: true })).rejects.toThrow('there is no location to keep');
  });
});

test('what is there is replaced only when asked, and only when it is a pack', async () => {
  await expect(make('pack')).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  const before = await tree(scratch('pack'));
  await make('replaced');
  await make('replaced', { force: true, maker: { ...maker, title: 'Another' } });
  expect(Object.keys(await tree(scratch('replaced')))).toContain('another.tif');
  expect(Object.keys(await tree(scratch('replaced')))).not.toContain('the-moon-s-edge.tif');
  await writeFile(join(scratch('replaced'), 'mine.txt'), 'precious');
  await expect(make('replaced', { force: true })).rejects.toThrow(/holds mine\.txt, which is of no pack/);
  expect(await readFile(join(scratch('replaced'), 'mine.txt'), 'utf8')).toBe('precious');
  await expect(make('plate', { force: true })).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  await writeFile(scratch('a file'), '');
  await expect(make('a file', { force: true })).rejects.toMatchObject({ code: 'USAGE' });
  await mkdir(scratch('empty'));
  await make('empty');
  expect(await tree(scratch('pack'))).toEqual(before);
});

test.each<[string, Partial<PublishOptions>, string, RegExp]>([
  ['no facts', { maker: { title: 'x' } }, 'FACTS_MISSING', /creator .*licence /],
  ['a size beyond the plate', { sizesPx: [288] }, 'USAGE', /the size 288 is too large; give 287 px at most/],
  ['no size', { sizesPx: [0] }, 'USAGE', /the size 0 is no whole number/],
  ['an unknown licence', { maker: { ...maker, licence: 'MIT' } }, 'USAGE', /licence MIT is not known/],
  ['a licence file that is missing', { licencePath: '/nowhere' }, 'USAGE', /the licence \/nowhere cannot be read/],
  ['facts that are missing', { factsPath: '/nowhere.yaml' }, 'CAPTURE_UNREADABLE', /nowhere\.yaml cannot be read/],
  ['a mark that cannot be drawn', { watermark: 'A月' }, 'USAGE', /cannot be drawn: 月;/],
  ['an empty mark', { watermark: ' ' }, 'USAGE', /has 0 characters/],
  ['no name', { toDir: '' }, 'USAGE', /the name of a folder is empty/],
])('%s: refused, and nothing is left', async (_, options, code, message) => {
  const failure = make('refused', options);
  await expect(failure).rejects.toMatchObject({ code });
  await expect(failure).rejects.toThrow(message);
  expect((await readdir(scratch('.'))).filter((name) => /refused|partial/.test(name))).toEqual([]);
});

test('the longest words that are taken fit into every picture', async () => {
  const and = (count: number): string => '&'.repeat(count);
  const url = `https://example.org/${and(480)}`;
  const longest = {
    ...{ creator: and(500), title: `a${and(99)}`, licence: `a ${and(998)}`, rights: and(1000), credit: and(500) },
    ...{ source: and(500), altText: and(1000), description: `a b c d e f g ${and(1986)}`, licensorName: and(500) },
    ...{ licensorUrl: url, statementUrl: url },
    keywords: Array.from({ length: 50 }, (_, i) => `${and(62)}${i + 10}`),
  };
  await make('longest', { maker: longest });
  for (const read of exif(scratch('longest'))) {
    expect(read['XMP-dc:Description']).toBe(longest.description);
    expect(read['XMP-dc:Subject']).toEqual(longest.keywords);
    expect(read['ExifTool:Error']).toBeUndefined();
  }
});

test('a plate that has changed, is missing or has no sidecar is refused', async () => {
  await makePlateFolder(scratch('changed'));
  await writeFile(join(scratch('changed'), 'plate.tif'), 'other');
  await expect(publish(scratch('changed'), { toDir: scratch('x'), maker })).rejects.toMatchObject({
    code: 'PLATE_CHANGED',
  });
  await expect(publish(scratch('none'), { toDir: scratch('x'), maker })).rejects.toMatchObject({
    code: 'SIDECAR_UNREADABLE',
  });
  await expect(publish(join(scratch('plate'), 'other.tif'), { toDir: scratch('x'), maker })).rejects.toThrow(
    `${join(scratch('plate'), 'other.tif')} is missing`,
  );
});

test('an interruption at any step leaves nothing behind', async () => {
  for (let stop = 0; stop < 4; stop++) {
    const controller = new AbortController();
    let steps = 0;
    const onProgress = (): void => {
      if (steps++ === stop) controller.abort();
    };
    await expect(make('interrupted', { signal: controller.signal, onProgress })).rejects.toMatchObject({
      code: 'INTERRUPTED',
    });
  }
  expect((await readdir(scratch('.'))).filter((name) => /interrupted|partial/.test(name))).toEqual([]);
});
