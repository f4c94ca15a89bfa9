import { execFileSync } from 'node:child_process';
import { expect, test } from 'vitest';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import type { CaptureSettings } from '../capture/settings-types.js';
import type { SidecarPass } from '../plate/sidecar.js';
import { writePlateTiff } from '../plate/tiff.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { masterXmp, requireKeywords } from './master-xmp.js';

const scratch = useScratch();

const SETTINGS: CaptureSettings = {
  title: 'Edge & rim',
  site: { latitudeDeg: 46.62345, longitudeDeg: 8.04321, heightM: 1034, timeZone: 'Europe/Zurich' },
  rights: { creator: 'Ä. Author', copyrightNotice: '© 2025 Ä. Author', licence: 'CC-BY-4.0' },
};
const passes = [
  {
    placed: true,
    frames: [{ time: { utc: '2025-09-30T18:00:00.250Z', from: 'exif', uncertaintyS: 0.5 } }],
  },
] as unknown as SidecarPass[];
const where = {
  ...{ known: true, body: 'Moon', utc: '2025-09-30T18:05:00.000Z', kmPerPx: 1.2345 },
  ...{ illuminatedFraction: 0.58, colongitudeDeg: 5, features: [] },
} as unknown as Whereabouts;
const STORY = { plate: { widthPx: 40, heightPx: 30 }, complete: true, where, passes, synthetic: false };

/** XMP by exiftool's names, and whatever tells of a place or a camera. */
async function readBack(name: string, xmp: string): Promise<Record<string, unknown>> {
  const image = { width: 40, height: 30, planes: [new Float32Array(1200).fill(0.2)] };
  const source = plateFrom(scratch(`${name}.raster`), image, {
    width: 40,
    height: 30,
    data: new Float32Array(1200).fill(1),
  });
  await writePlateTiff(scratch(`${name}.tif`), source, { xmp });
  const said = execFileSync('exiftool', ['-json', '-G1', '-struct', '-a', scratch(`${name}.tif`)], {
    encoding: 'utf8',
  });
  return (JSON.parse(said) as Record<string, unknown>[])[0]!;
}

test('exiftool reads from a master what it shows, when, at what scale, whose it is and how it was made', async () => {
  const read = await readBack('told', masterXmp(SETTINGS, STORY));
  expect(read).toMatchObject({
    'XMP-dc:Title': 'Edge & rim',
    'XMP-dc:Creator': ['Ä. Author'],
    'XMP-dc:Rights': '© 2025 Ä. Author',
    'XMP-dc:Description':
      'The waxing gibbous Moon, 58 % of the disc lit, taken on 30 September 2025. One picture of 40 x 30 pixels, joined from ' +
      'one pass of a fixed camera. A pixel shows 1.23 km in the middle of the disc.',
    'XMP-photoshop:DateCreated': '2025:09:30 18:00:00Z',
    'XMP-xmp:CreateDate': '2025:09:30 18:00:00Z',
    'XMP-xmp:CreatorTool': expect.stringMatching(/^plenilune \d+\.\d+\.\d+$/) as unknown,
    'XMP-xmpRights:UsageTerms': 'CC-BY-4.0',
    'XMP-iptcExt:DigitalSourceType': 'http://cv.iptc.org/newscodes/digitalsourcetype/computationalCapture',
  });
  expect(Object.keys(read).filter((name) => /GPS|Serial|Location|Error|Warning/i.test(name))).toEqual([]);
  expect(masterXmp(SETTINGS, STORY)).not.toMatch(/46[.,]|8[.,]04|1034|Zurich/);
});

test('what nobody has said is not in it, nor a date that cannot be trusted; frames of several nights are a composite', async () => {
  const frame = (utc: string, from: string) => ({ time: { utc, from, uncertaintyS: 0.5 } });
  const untrusted = [{ placed: true, frames: [frame('2025-09-30T18:00:00Z', 'file')] }] as unknown as SidecarPass[];
  const unknown = { known: false, reason: 'no-site', detail: 'nobody said' } as const;
  const read = await readBack('silent', masterXmp({}, { ...STORY, where: unknown, passes: untrusted }));
  expect(
    Object.keys(read)
      .filter((name) => name.startsWith('XMP-') && !name.startsWith('XMP-x:'))
      .sort(),
  ).toEqual([
    ...['XMP-dc:Description', 'XMP-dc:Subject', 'XMP-iptcCore:AltTextAccessibility', 'XMP-iptcExt:DigitalSourceType'],
    'XMP-xmp:CreatorTool',
  ]);
  const nights = [
    { placed: true, frames: [frame('2025-09-30T18:00:00Z', 'exif'), frame('2025-10-01T18:00:00Z', 'exif')] },
  ];
  expect(masterXmp({}, { ...STORY, passes: nights as unknown as SidecarPass[] })).toContain('/compositeCapture<');
});

test('the same plate and words give the same packet; too many keywords are refused', () => {
  expect(masterXmp(SETTINGS, STORY)).toBe(masterXmp(structuredClone(SETTINGS), structuredClone(STORY)));
  const keywords = Array.from({ length: 51 }, (_, i) => `word ${i}`).join(',');
  expect(() => requireKeywords({ listing: { keywords: [keywords] } })).toThrow(
    'there are 51 keywords; give 50 at most',
  );
});
