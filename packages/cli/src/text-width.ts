/**
 * Columns that a text takes on a terminal, at most: whatever is not Latin, Greek, Cyrillic or the like counts as two, since
 * terminals do not agree on it.
 */
export function textWidth(text: string): number {
  let width = 0;
  for (const char of text) width += char.codePointAt(0)! < FIRST_WIDE ? 1 : 2;
  return width;
}

/** The text, or as much of its beginning as fits with a mark that some is missing. */
export function fitText(text: string, columns: number): string {
  if (textWidth(text) <= columns) return text;
  let kept = '';
  let width = ELLIPSIS.length;
  if (width > columns) return '';
  for (const char of text) {
    width += textWidth(char);
    if (width > columns) break;
    kept += char;
  }
  return kept.trimEnd() + ELLIPSIS;
}

/** From Hangul on, letters may be as wide as two. */
const FIRST_WIDE = 0x1100;
const ELLIPSIS = '..';
