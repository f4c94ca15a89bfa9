import { expect, test } from 'vitest';
import { makePlateFolder } from '../../test/plate-folder.js';
import { useScratch } from '../../test/scratch.js';
import { ephemeris } from '../sky/ephemeris.js';
import { KEYWORD_LIMITS, keywordsOf, strikingFeatures } from './keywords.js';
import { wordsOf } from './plain-text.js';
import { type PlateFacts, plateFacts } from './plate-facts.js';
import { type PlateRecord, readPlateRecord } from './plate-record.js';
import { altTextOf, describePlate } from './words.js';

const scratch = useScratch();
/** A day after first quarter. */
const taken = { utc: '2025-09-30T18:00:00.250Z', from: 'exif', uncertaintyS: 0.5 };
const later = { utc: '2025-09-30T18:10:00.000Z', from: 'exif', uncertaintyS: 0.5 };
let made = 0;
const record = async (options: Parameters<typeof makePlateFolder>[1]): Promise<PlateRecord> =>
  readPlateRecord(await makePlateFolder(scratch(`plate ${made++}`), options));

test('trusted times give phase, light and features, from no place in particular', async () => {
  const facts = plateFacts(await record({ times: [later, taken] }));
  expect(facts).toMatchObject({ body: 'moon', takenUtc: '2025-09-30T18:00:00Z', phaseName: 'waxing gibbous' });
  const there = ephemeris('Moon', new Date('2025-09-30T18:05:00Z'), {
    latitudeDeg: 46.6,
    longitudeDeg: 8,
    heightM: 900,
  });
  // What the place of the camera changes: at most the Moon's parallax, 1 degree of phase angle.
  expect(Math.abs(facts.illuminatedFraction! - there.illuminatedFraction!)).toBeLessThan(0.01);
  expect(Math.abs(facts.colongitudeDeg! - there.terminator!.colongitudeDeg)).toBeLessThan(0.01);
  expect(facts.features!.length).toBeGreaterThan(50);
  expect(plateFacts(await record({ times: [taken] }), 'jupiter')).toEqual({
    body: 'jupiter',
    takenUtc: '2025-09-30T18:00:00Z',
    illuminatedFraction: expect.closeTo(0.99, 1) as number,
  });
});

test('times of files, and stamps that only tell of a change, are not believed', async () => {
  const unset = { ...taken, utc: '2131-03-01T20:00:00.000Z' };
  for (const time of [null, { ...taken, from: 'file' }, { ...taken, uncertaintyS: null }, unset]) {
    expect(plateFacts(await record({ times: [time] }))).toEqual({ body: 'moon' });
  }
});

test('features of a plate that shows a part only are not guessed', async () => {
  expect(plateFacts(await record({ times: [taken], complete: false })).features).toBeUndefined();
});

test('what stands out is lit, large and near the terminator; then the plains in the light', async () => {
  const facts = plateFacts(await record({ times: [taken] }));
  const shown = strikingFeatures(facts);
  expect(shown.every(({ lit }) => lit)).toBe(true);
  expect(shown.map(({ name }) => name)).toEqual(
    expect.arrayContaining(['Clavius', 'Mare Serenitatis', 'Mare Crisium']),
  );
  expect(shown.map(({ name }) => name)).not.toContain('Mare Imbrium');
});

test('keywords: the own ones first, each once, never fewer than 7 or more than 50', async () => {
  const facts = plateFacts(await record({ times: [taken] }));
  const words = keywordsOf(facts, ['Ridge, Alps; MOON', ' ridge']);
  expect(words.slice(0, 3)).toEqual(['Ridge', 'Alps', 'MOON']);
  expect(words).toEqual(
    expect.arrayContaining(['lunar', 'waxing gibbous moon', 'lunar sunrise', 'terminator', 'Clavius']),
  );
  expect(words.filter((word) => word.toLowerCase() === 'moon')).toEqual(['MOON']);
  expect(words.some((word) => /^colongitude \d+$/.test(word))).toBe(true);
  const bodies = ['moon', 'sun', 'mercury', 'venus', 'mars', 'jupiter', 'saturn', 'uranus', 'neptune'] as const;
  for (const body of bodies) expect(keywordsOf({ body }).length).toBeGreaterThanOrEqual(KEYWORD_LIMITS.least);
  const many = Array.from({ length: 45 }, (_, i) => `word ${i}`);
  expect(keywordsOf(facts, many).length).toBe(50);
  expect(() => keywordsOf(facts, [...many, 'a,b,c,d,e,f'])).toThrow('there are 51 keywords; give 50 at most');
  expect(() => keywordsOf(facts, ['x'.repeat(65)])).toThrow('is longer than 64 characters');
});

test('after full moon the Sun sets along the terminator', () => {
  const base: PlateFacts = { body: 'moon', phaseName: 'last quarter', illuminatedFraction: 0.5, colongitudeDeg: 180.4 };
  expect(keywordsOf(base)).toEqual(expect.arrayContaining(['last quarter moon', 'lunar sunset', 'colongitude 180']));
  expect(keywordsOf({ ...base, colongitudeDeg: 359.7 })).toEqual(
    expect.arrayContaining(['lunar sunrise', 'colongitude 0']),
  );
  const full = keywordsOf({ body: 'moon', phaseName: 'full moon', illuminatedFraction: 0.999, colongitudeDeg: 90 });
  expect(full).toContain('full moon');
  expect(full).not.toContain('full moon moon');
  expect(full).not.toContain('terminator');
});

test('words that follow from a plate are whole sentences of 7 words or more', async () => {
  const whole = await record({ times: [taken] });
  const facts = plateFacts(whole);
  expect(describePlate(facts, whole)).toMatch(
    /^The waxing gibbous Moon, 5\d % of the disc lit, taken on 30 September 2025\. One picture of 300 x 260 pixels, joined from 2 passes of a fixed camera\. Low light along the terminator brings out Montes Alpes, Clavius, [\p{L} ,.]+ and [\p{L} ]+\.$/u,
  );
  expect(altTextOf(facts, whole)).toMatch(
    /^The waxing gibbous Moon, 5\d % of the disc lit, against a dark sky, with shadows along the terminator near .+\.$/,
  );
  const part = await record({ complete: false });
  expect(describePlate({ body: 'moon' }, part)).toBe(
    'A part of the Moon. One picture of 300 x 260 pixels, joined from 2 passes of a fixed camera.',
  );
  expect(altTextOf({ body: 'moon', phaseName: 'first quarter' }, whole)).toBe(
    'The Moon at first quarter, against a dark sky.',
  );
  expect(wordsOf(describePlate({ body: 'saturn' }, whole)).length).toBeGreaterThanOrEqual(7);
});

test('what is synthetic is called so, and was taken at no time', async () => {
  const drawn = await record({ times: [taken], synthetic: true });
  const facts = plateFacts(drawn);
  expect(facts).toMatchObject({ phaseName: 'waxing gibbous' });
  expect(facts.takenUtc).toBeUndefined();
  expect(describePlate(facts, drawn)).toMatch(
    /^A synthetic picture of the waxing gibbous Moon, 5\d % of the disc lit\. One picture of 300 x 260 pixels, joined from 2 passes of a simulated camera\./,
  );
  expect(altTextOf(facts, { complete: false, synthetic: true })).toMatch(
    /^A synthetic picture of a part of the waxing/,
  );
  const words = keywordsOf(facts, ['ridge'], true);
  expect(words.slice(0, 3)).toEqual(['synthetic', 'ridge', 'moon']);
  expect(words).not.toContain('astrophotography');
  const many = Array.from({ length: 50 }, (_, i) => `word ${i}`);
  expect(keywordsOf(facts, many, true).slice(0, 2)).toEqual(['synthetic', 'word 0']);
  for (const body of ['sun', 'saturn'] as const) {
    expect(keywordsOf({ body }, [], true).length).toBeGreaterThanOrEqual(KEYWORD_LIMITS.least);
  }
});

test('a sidecar that does not say whether it is synthetic is one of a photograph', async () => {
  const { synthetic } = await record({ sidecar: { capture: { name: 'night', guide: null, calibration: [] } } });
  expect(synthetic).toBe(false);
});
