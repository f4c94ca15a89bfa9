import { readFileSync } from 'node:fs';
import { UsageError } from '../job/errors.js';
import { plainLine } from './plain-text.js';

/** Characters that a mark may have. */
const MOST_CHARACTERS = 60;
/** Units of the letters' outlines to the em. */
const EM_UNITS = 2048;
/** Turn of the lines, degrees. */
const TURN_DEG = -30;
/** Height of the letters over the diagonal of the picture, for a short mark. */
const EM_SHARE = 0.045;

/** A text as the outline of its letters. */
export interface MarkOutline {
  /** SVG path data, {@link EM_UNITS} to the em, y up. */
  readonly paths: readonly { readonly data: string; readonly x: number }[];
  readonly width: number;
}

/**
 * The outline of a mark; its letters come with the package, so that it looks the same on every machine. Throws `UsageError`
 * when the text is empty, too long, or has a character that is neither Latin, Greek, Cyrillic nor a common sign.
 */
export function markOutline(text: string): MarkOutline {
  const line = plainLine(text).normalize('NFC');
  const characters = [...line];
  if (characters.length === 0 || characters.length > MOST_CHARACTERS)
    throw new UsageError(`the watermark has ${characters.length} characters; give 1 to ${MOST_CHARACTERS}`);
  const foreign = characters.filter((character) => !letters().has(character));
  if (foreign.length > 0) {
    throw new UsageError(
      `the watermark has characters that cannot be drawn: ${foreign.join(' ')}; use Latin, Greek or Cyrillic letters`,
    );
  }
  let x = 0;
  const paths = characters.map((character) => {
    const { advance, data } = letters().get(character)!;
    const placed = { data, x };
    x += advance;
    return placed;
  });
  return { paths, width: x };
}

/**
 * The mark as an SVG to lay over a picture: repeated in slanted lines, offset against each other, see-through white with a
 * dark rim, so that it shows on bright ground and on dark sky.
 */
export function markOverlay({ paths, width }: MarkOutline, widthPx: number, heightPx: number): string {
  const diagonal = Math.hypot(widthPx, heightPx);
  // A long mark is made smaller, so that a whole one is always in sight.
  const scale = Math.min((EM_SHARE * diagonal) / EM_UNITS, (0.8 * Math.min(widthPx, heightPx)) / width);
  const stepX = width * scale + 2.5 * EM_UNITS * scale;
  const stepY = 4.5 * EM_UNITS * scale;
  const glyphs = paths.map(({ data, x }) => `<path transform="translate(${x} 0)" d="${data}"/>`).join('');
  const uses: string[] = [];
  const rows = Math.ceil(diagonal / stepY / 2);
  const columns = Math.ceil(diagonal / stepX / 2) + 1;
  for (let row = -rows; row <= rows; row++) {
    for (let column = -columns; column <= columns; column++) {
      const x = (column + (row & 1 ? 0.5 : 0)) * stepX - (width * scale) / 2;
      uses.push(
        `<use href="#m" x="0" y="0" transform="translate(${fixed(x)} ${fixed(row * stepY)}) scale(${fixed(scale)} ${fixed(-scale)})"/>`,
      );
    }
  }
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${widthPx}" height="${heightPx}">`,
    `<defs><g id="m" fill="#fff" fill-opacity="0.34" stroke="#000" stroke-opacity="0.3" stroke-width="${EM_UNITS / 24}">`,
    `${glyphs}</g></defs>`,
    `<g transform="translate(${widthPx / 2} ${heightPx / 2}) rotate(${TURN_DEG})">`,
    ...uses,
    '</g></svg>',
  ].join('\n');
}

function fixed(value: number): string {
  return value.toFixed(6);
}

interface Letter {
  readonly advance: number;
  readonly data: string;
}

let loaded: ReadonlyMap<string, Letter> | undefined;

function letters(): ReadonlyMap<string, Letter> {
  loaded ??= load();
  return loaded;
}

function load(): ReadonlyMap<string, Letter> {
  const text = readFileSync(new URL('../../data/mark-letters.tsv', import.meta.url), 'utf8');
  const rows = text.split('\n').filter((line) => line !== '' && !line.startsWith('#'));
  return new Map(
    rows.map((row) => {
      const [code, advance, data] = row.split('\t');
      return [String.fromCodePoint(Number.parseInt(code!, 16)), { advance: Number(advance), data: data! }];
    }),
  );
}
