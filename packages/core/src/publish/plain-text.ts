/**
 * A text as it may stand in XML, CSV and a listing: whole characters only, no control characters but the line break, spaces
 * at its ends removed. What may not stand there becomes a space, so that words stay apart.
 */
export function plainText(text: string): string {
  return text
    .replace(/\r\n?|[\u0085\u2028\u2029]/g, '\n')
    .replace(FOREIGN, ' ')
    .trim();
}

/** The same on one line, with single spaces. */
export function plainLine(text: string): string {
  return plainText(text).replace(/\s+/g, ' ');
}

/** Words of a text, as people count them. */
export function wordsOf(text: string): string[] {
  return text.split(/\s+/).filter((word) => /[\p{L}\p{N}]/u.test(word));
}

/**
 * Control characters but the line break, halves of characters, what XML 1.0 forbids, and marks that turn the direction of the
 * text around them.
 */
const FOREIGN = /(?!\n)[\p{Cc}\p{Cs}\ufffe\uffff\ufeff\u202a-\u202e\u2066-\u2069]/gu;
