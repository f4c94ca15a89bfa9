// Makes packages/core/data/licences, the texts of the licences that pictures are published under, out of the npm package
// spdx-license-list: one file each, `ID.txt`, and `licences.tsv` with id, name and page.
//   node scripts/make-licences.mjs
import { mkdirSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import licences from 'spdx-license-list/full.js';

const IDS = [
  'CC0-1.0',
  'CC-BY-4.0',
  'CC-BY-SA-4.0',
  'CC-BY-ND-4.0',
  'CC-BY-NC-4.0',
  'CC-BY-NC-SA-4.0',
  'CC-BY-NC-ND-4.0',
];
/** Columns of the texts. */
const WIDTH = 100;

const out = join(dirname(dirname(fileURLToPath(import.meta.url))), 'packages', 'core', 'data', 'licences');
mkdirSync(out, { recursive: true });
const rows = IDS.map((id) => {
  const { name, url, licenseText } = licences[id];
  writeFileSync(join(out, `${id}.txt`), `${licenseText.split('\n').flatMap(wrap).join('\n').trimEnd()}\n`);
  // The page for people; the one of the list is the legal code.
  return [id, name, url.replace(/legalcode$/, '')].join('\t');
});
writeFileSync(join(out, 'licences.tsv'), `${rows.join('\n')}\n`);

/** A long line as several, each indented as the first. */
function wrap(line) {
  const indent = /^\s*/.exec(line)[0];
  const lines = [];
  let current = indent;
  for (const word of line.trim().split(/\s+/)) {
    if (current.trim() !== '' && current.length + 1 + word.length > WIDTH) {
      lines.push(current);
      current = indent;
    }
    current += current.trim() === '' ? word : ` ${word}`;
  }
  return [...lines, current.trimEnd()];
}
