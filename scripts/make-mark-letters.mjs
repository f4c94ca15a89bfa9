// Makes packages/core/data/mark-letters.tsv, the outlines of the letters that previews are marked with, out of the npm
// package dejavu-fonts-ttf (DejaVu Sans Bold): Latin, Greek and Cyrillic.
//   node scripts/make-mark-letters.mjs
import { readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { create } from 'fontkitten';

/** First and last code points. */
const RANGES = [
  [0x20, 0x7e],
  [0xa0, 0x17f],
  [0x218, 0x21b],
  [0x386, 0x3ce],
  [0x400, 0x45f],
  [0x490, 0x491],
  [0x1e9e, 0x1e9e],
  [0x2013, 0x2014],
  [0x2018, 0x201e],
  [0x2022, 0x2022],
  [0x2026, 0x2026],
  [0x20ac, 0x20ac],
  [0x2122, 0x2122],
];

const require = createRequire(import.meta.url);
const root = dirname(dirname(fileURLToPath(import.meta.url)));
const font = create(readFileSync(require.resolve('dejavu-fonts-ttf/ttf/DejaVuSans-Bold.ttf')));
const licence = readFileSync(join(dirname(require.resolve('dejavu-fonts-ttf/package.json')), 'LICENSE'), 'utf8');
const lines = [
  `Letters: code point, advance, SVG path; ${font.unitsPerEm} units to the em, y up. Made by scripts/make-mark-letters.mjs`,
  'out of a bold sans-serif font under this licence:',
  ...licence.trimEnd().split(/\r?\n/),
].map((line) => `# ${line}`.trimEnd());
for (const [first, last] of RANGES) {
  for (let code = first; code <= last; code++) {
    if (!font.hasGlyphForCodePoint(code)) continue;
    const { advanceWidth, path } = font.glyphForCodePoint(code);
    lines.push(`${code.toString(16).padStart(4, '0')}\t${advanceWidth}\t${path.toSVG()}`);
  }
}
writeFileSync(join(root, 'packages', 'core', 'data', 'mark-letters.tsv'), `${lines.join('\n')}\n`);
