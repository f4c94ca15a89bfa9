import fc from 'fast-check';
import { expect, test } from 'vitest';
import { valuesOf } from '../../test/arbitrary-settings.js';
import { settingsFields } from './settings-fields.js';
import { captureSchema } from './settings-schema.js';
import type { CaptureSettings } from './settings-types.js';

test('nothing given: every section is off', () => {
  expect(settingsFields({})).toEqual({ filledIn: [], off: Object.keys(captureSchema().properties!) });
});

test('fields of sections and of lists, in the order of the file', () => {
  const { filledIn, off } = settingsFields({
    sensor: { heightPx: 320, widthPx: 480 },
    passes: [{ folder: 'lower' }, { clip: 'a.mov', exposureS: 0.004 }],
    listing: { keywords: ['ridge'] },
    encoding: 'srgb',
  } as CaptureSettings);
  expect(filledIn).toEqual([
    ...['sensor.widthPx', 'sensor.heightPx', 'encoding'],
    ...['passes.folder', 'passes.clip', 'passes.exposureS', 'listing.keywords'],
  ]);
  expect(off).toEqual(expect.arrayContaining(['site', 'optics', 'sensor.pitchUm', 'passes.start', 'listing.altText']));
  expect(off).not.toContain('passes.clip');
  expect(settingsFields({ passes: [{ folder: 'a' }] }).off).not.toContain('passes.clip');
});

test('whatever is given, each section is filled in or off, and no field is both', () => {
  fc.assert(
    fc.property(valuesOf(captureSchema()) as fc.Arbitrary<CaptureSettings>, (settings) => {
      const { filledIn, off } = settingsFields(settings);
      expect(new Set([...filledIn, ...off]).size).toBe(filledIn.length + off.length);
      const sections = new Set([...filledIn, ...off].map((name) => name.split('.')[0]));
      expect(sections).toEqual(new Set(Object.keys(captureSchema().properties!)));
      for (const [key, value] of Object.entries(settings)) {
        if (typeof value !== 'object') expect(filledIn).toContain(key);
      }
    }),
    { seed: 5, numRuns: 200 },
  );
});
