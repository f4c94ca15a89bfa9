import { expect, test } from 'vitest';
import { UsageError } from '../job/errors.js';
import { type MakerFacts, makerFromSettings, requireMaker } from './maker.js';

const needed: MakerFacts = { creator: 'A. Author', licence: 'CC-BY-4.0', title: 'The Moon' };

test('all that is missing is named at once, with where to put it', () => {
  expect(() => requireMaker({})).toThrow(
    expect.objectContaining({
      code: 'FACTS_MISSING',
      message:
        'only you can say, and it has not been said: creator (--creator, or rights.creator in a file of --facts); ' +
        'licence (--licence, or rights.licence in a file of --facts); title (--title, or title in a file of --facts)',
    }),
  );
  expect(() => requireMaker({})).toThrow(UsageError);
  expect(() => requireMaker({ ...needed, creator: ' \n' })).toThrow(/said: creator \(--creator, or [^;]*$/);
});

test('what is said first counts, and what capture.yaml says fills the rest', () => {
  const settings = makerFromSettings({
    title: 'From the file',
    rights: {
      creator: 'B. Author',
      licence: 'CC0-1.0',
      copyrightNotice: 'Notice',
      creditLine: 'Credit',
      sourceUrl: 'https://example.org/plate',
      contactUrl: 'https://example.org/contact',
      licensorName: 'Library',
      statementUrl: 'https://example.org/rights',
    },
    listing: { description: 'one two three four five\nsix seven', altText: 'Alt', keywords: ['file'] },
  });
  expect(requireMaker({ title: 'First\nof all', keywords: ['option'] }, settings)).toEqual({
    creator: 'B. Author',
    licence: 'CC0-1.0',
    title: 'First of all',
    description: 'one two three four five\nsix seven',
    altText: 'Alt',
    rights: 'Notice',
    credit: 'Credit',
    source: 'https://example.org/plate',
    statementUrl: 'https://example.org/rights',
    licensorName: 'Library',
    licensorUrl: 'https://example.org/contact',
    keywords: ['option', 'file'],
  });
});

test.each<[Partial<MakerFacts>, string]>([
  [{ title: 'x'.repeat(101) }, 'the title has 101 characters; 100 at most'],
  [{ title: '...' }, 'the title "..." has no word in it'],
  [{ description: 'Only a few words' }, 'the description has 4 words; 7 at least, or leave it out'],
  [{ description: 'word '.repeat(401) }, 'the description has 2004 characters; 2000 at most'],
  [{ statementUrl: 'javascript:alert(1)' }, 'which is no web address that begins with https://'],
  [{ licensorUrl: 'example.org' }, 'the licensorUrl is example.org, which is no web address'],
  [{ creator: 'x'.repeat(501) }, 'the creator has 501 characters; 500 at most'],
])('%j is refused', (facts, message) => {
  expect(() => requireMaker({ ...needed, ...facts })).toThrow(
    expect.objectContaining({ code: 'USAGE', message: expect.stringContaining(message) as string }),
  );
});
