import fc from 'fast-check';
import { expect, test } from 'vitest';
import { slugOf } from './slug.js';

test.each([
  ['Waxing gibbous above the ridge', 'waxing-gibbous-above-the-ridge'],
  ['  Ünder "the" Möon / 2031 ', 'under-the-moon-2031'],
  ['月', 'plate'],
  ['../../etc/passwd', 'etc-passwd'],
  ['CON', 'plate-con'],
])('%j is called %s', (title, name) => {
  expect(slugOf(title)).toBe(name);
});

test('any title gives a name that every system takes', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'grapheme', maxLength: 120 }), (title) => {
      expect(slugOf(title)).toMatch(/^[a-z0-9]+(-[a-z0-9]+)*$/);
      expect(slugOf(title).length).toBeLessThanOrEqual(66);
    }),
    { seed: 13 },
  );
});
