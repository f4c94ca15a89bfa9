import { createRequire } from 'node:module';
import { expect, test } from 'vitest';
import { licenceOf } from './licences.js';

const require = createRequire(import.meta.url);
const IDS = [
  'CC0-1.0',
  'CC-BY-4.0',
  'CC-BY-SA-4.0',
  'CC-BY-ND-4.0',
  'CC-BY-NC-4.0',
  'CC-BY-NC-SA-4.0',
  'CC-BY-NC-ND-4.0',
];

test.each(IDS)('%s has the words of the list that they come from', (id) => {
  const { name, licenseText } = require(`spdx-license-list/licenses/${id}.json`) as Record<string, string>;
  const licence = licenceOf(id.toLowerCase());
  expect(licence).toMatchObject({ id, name });
  expect(licence.url).toMatch(/^https:\/\/creativecommons\.org\/(licenses|publicdomain)\/[a-z0-9/.-]+\/$/);
  expect(licence.text.split(/\s+/).filter(Boolean)).toEqual(licenseText!.split(/\s+/).filter(Boolean));
  expect(Math.max(...licence.text.split('\n').map((line) => line.length))).toBeLessThanOrEqual(100);
});

test('words are terms themselves, and a file is the text under the name given', () => {
  expect(licenceOf('All rights reserved. Ask first.')).toEqual({
    id: null,
    name: 'All rights reserved. Ask first.',
    url: null,
    text: 'All rights reserved. Ask first.\n',
  });
  expect(licenceOf('House-1.0', 'Do as\r\nyou like.')).toEqual({
    id: null,
    name: 'House-1.0',
    url: null,
    text: 'Do as\nyou like.\n',
  });
});

test('an identifier whose text is not known is refused, with the one that was meant', () => {
  expect(() => licenceOf('CC-BY-4')).toThrow(
    /licence CC-BY-4 is not known; did you mean CC-BY-4\.0\? Known are CC0-1\.0, /,
  );
  expect(() => licenceOf('Proprietary')).toThrow(/Proprietary is not known\. Known are/);
  expect(() => licenceOf('CC-BY-4.0', 'something else')).toThrow(/the text of CC-BY-4\.0 is known; leave out the file/);
  expect(() => licenceOf('House-1.0', ' \n')).toThrow(/the text of the licence is empty/);
});

test.each([
  ['CC BY', 'CC-BY-4.0'],
  ['cc by sa 4.0', 'CC-BY-SA-4.0'],
  ['CC BY-NC 3.0', 'CC-BY-NC-4.0'],
  [' CC0 1.0 ', 'CC0-1.0'],
  ['CC BY 4.0 International', 'CC-BY-4.0'],
])('"%s" is no terms in words but %s', (given, id) => {
  expect(() => licenceOf(given)).toThrow(`the text of the licence ${given.trim()} is not known; did you mean ${id}?`);
});

test.each(['Ask me first', 'CC BY 4.0, for schools and museums alone!', 'CC BY\nbut ask first'])(
  '"%s" is terms in words',
  (given) => {
    expect(licenceOf(given)).toMatchObject({ id: null, text: `${given}\n` });
  },
);

test('a name that is near a known one may have a text of its own', () => {
  expect(licenceOf('CC BY', 'Do as you like.')).toMatchObject({ id: null, name: 'CC BY' });
});
