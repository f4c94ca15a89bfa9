import type { ByteSource } from './byte-source.js';

/** The keywords of one header, by name. Of a repeated keyword the first value counts. */
export type FitsCards = ReadonlyMap<string, FitsValue>;
type FitsValue = string | number | boolean;

/** Length to which headers and data are padded. FITS 4.0, section 3.1. */
export const FITS_BLOCK_BYTES = 2880;
const CARD_BYTES = 80;
/** Longest header that is read, in blocks: some 36 000 keywords. */
const MOST_BLOCKS = 1000;

/**
 * Reads the header that begins at an offset. FITS 4.0 (2018), sections 3 and 4. Throws a plain `Error` when it has no
 * end, or is not text.
 */
export async function readCards(
  source: ByteSource,
  offset: number,
): Promise<{ readonly cards: FitsCards; readonly dataOffset: number }> {
  const cards = new Map<string, FitsValue>();
  for (let block = 0; block < MOST_BLOCKS; block++) {
    const at = offset + block * FITS_BLOCK_BYTES;
    if (at + FITS_BLOCK_BYTES > source.sizeBytes) break;
    const text = (await source.read(at, FITS_BLOCK_BYTES)).toString('latin1');
    for (let from = 0; from < FITS_BLOCK_BYTES; from += CARD_BYTES) {
      const card = text.slice(from, from + CARD_BYTES);
      const keyword = card.slice(0, 8).trimEnd();
      if (keyword === 'END') return { cards, dataOffset: at + FITS_BLOCK_BYTES };
      if (!/^[A-Z0-9_-]*$/.test(keyword)) throw new Error('a header of it holds something other than keywords');
      if (card.slice(8, 10) !== '= ' || cards.has(keyword)) continue;
      const value = cardValue(card.slice(10));
      if (value !== undefined) cards.set(keyword, value);
    }
  }
  throw new Error('a header of it has no END');
}

/** The value of a whole-number keyword. Throws a plain `Error` when it is there and is none. */
export function wholeOf(cards: FitsCards, keyword: string): number | undefined {
  const value = cards.get(keyword);
  if (value === undefined) return undefined;
  if (typeof value !== 'number' || !Number.isSafeInteger(value)) throw new Error(`its ${keyword} is ${value}`);
  return value;
}

/** The value of a numeric keyword, or `undefined` when it is missing or is none. */
export function numberOf(cards: FitsCards, keyword: string): number | undefined {
  const value = cards.get(keyword);
  return typeof value === 'number' && Number.isFinite(value) ? value : undefined;
}

/** The value of a text keyword in upper case, or the empty text. */
export function textOf(cards: FitsCards, keyword: string): string {
  const value = cards.get(keyword);
  return typeof value === 'string' ? value.trim().toUpperCase() : '';
}

/** FITS 4.0, section 4.2: text in quotes, T or F, numbers (whose exponent may be a D), then a comment after a slash. */
function cardValue(field: string): FitsValue | undefined {
  const quoted = /^\s*'((?:[^']|'')*)'/.exec(field);
  if (quoted !== null) return quoted[1]!.replaceAll("''", "'").trimEnd();
  const word = field.split('/', 1)[0]!.trim();
  if (word === 'T' || word === 'F') return word === 'T';
  if (!/^[+-]?(\d+\.?\d*|\.\d+)([ED][+-]?\d+)?$/i.test(word)) return undefined;
  return Number(word.replace(/d/i, 'E'));
}
