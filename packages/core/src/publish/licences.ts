import { readFileSync } from 'node:fs';
import { nearestName } from '../capture/settings-nearest.js';
import { UsageError } from '../job/errors.js';
import { plainLine, plainText } from './plain-text.js';

/** The terms under which a plate is published. */
export interface Licence {
  /** Its SPDX identifier; null where the terms are the maker's own. */
  readonly id: string | null;
  readonly name: string;
  /** The page that explains it; null where the terms are the maker's own. */
  readonly url: string | null;
  /** What goes into `LICENCE.txt`. */
  readonly text: string;
}

/**
 * The licence that is meant: one of those for pictures whose texts come with the package, by its SPDX identifier in any
 * case; with `ownText`, the maker's own under the name that is given; or words, which are the terms themselves. Throws
 * `UsageError` for an identifier whose text is neither known nor given, for one that is both, and for a few words that are
 * an identifier all but in form, such as `CC BY`.
 */
export function licenceOf(given: string, ownText?: string): Licence {
  const known = knownLicences().find(({ id }) => id.toLowerCase() === given.trim().toLowerCase());
  if (ownText !== undefined) {
    if (known) throw new UsageError(`the text of ${known.id} is known; leave out the file, or name your own licence`);
    if (plainText(ownText) === '') throw new UsageError('the text of the licence is empty; give a file with its text');
    return { id: null, name: plainLine(given), url: null, text: `${plainText(ownText)}\n` };
  }
  if (known) return { ...known, text: readFileSync(new URL(`${known.id}.txt`, FOLDER), 'utf8') };
  const ids = knownLicences().map(({ id }) => id);
  const near = nearestName(given, ids);
  if (/\s/.test(given.trim()) && (near === undefined || isMoreThanAName(given.trim()))) {
    return { id: null, name: plainLine(given), url: null, text: `${plainText(given)}\n` };
  }
  throw new UsageError(
    `the text of the licence ${plainLine(given)} is not known${near === undefined ? '.' : `; did you mean ${near}?`} ` +
      `Known are ${ids.join(', ')}; for any other give a file with its text (--licence-file), or the terms in words.`,
  );
}

/** Characters of a line that may still be an identifier in other dress. */
const MOST_NAME_CHARACTERS = 40;

function isMoreThanAName(text: string): boolean {
  return /[\r\n]/.test(text) || [...text].length > MOST_NAME_CHARACTERS;
}

const FOLDER = new URL('../../data/licences/', import.meta.url);

function knownLicences(): { readonly id: string; readonly name: string; readonly url: string }[] {
  const rows = readFileSync(new URL('licences.tsv', FOLDER), 'utf8').trimEnd().split('\n');
  return rows.map((row) => {
    const [id, name, url] = row.split('\t');
    return { id: id!, name: name!, url: url! };
  });
}
