// Makes packages/core/data/moon-features.tsv, the named features of the Moon, out of the gazetteer:
//   node scripts/make-features.mjs [GAZETTEER.csv] [OUT.tsv]
// Kept are approved names of features from 15 km up. The kind is read from the Latin word of the name.
import { readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const [gazetteer = join(root, '..', 'shared', 'real', 'nomenclature', 'moon-gazetteer.csv'), out] =
  process.argv.slice(2);

const LEAST_KM = 15;
const KINDS = new Map([
  ['Mare', 'mare'],
  ['Oceanus', 'oceanus'],
  ['Lacus', 'lacus'],
  ['Sinus', 'sinus'],
  ['Palus', 'palus'],
  ['Mons', 'mons'],
  ['Mont', 'mons'],
  ['Montes', 'montes'],
  ['Vallis', 'vallis'],
  ['Rima', 'rima'],
  ['Rimae', 'rimae'],
  ['Rupes', 'rupes'],
  ['Dorsum', 'dorsum'],
  ['Dorsa', 'dorsa'],
  ['Catena', 'catena'],
  ['Promontorium', 'promontorium'],
]);
/** Names without such a word that are no craters. */
const OTHERS = new Map([
  ['Reiner Gamma', 'swirl'],
  ['North Massif', 'mons'],
  ['South Massif', 'mons'],
  ['Taurus-Littrow Valley', 'vallis'],
]);

const [header, ...records] = readFileSync(gazetteer, 'utf8')
  .split(/\r?\n/)
  .filter((line) => line !== '')
  .map(fields);
const column = (name) => {
  const index = header.indexOf(name);
  if (index < 0) throw new Error(`${gazetteer}: no column "${name}"; the columns are ${header.join(', ')}`);
  return index;
};
const [name, diameter, latitude, longitude, status, target] = [
  'Feature_Name',
  'Diameter',
  'Center_Latitude',
  'Center_Longitude',
  'Approval_Status',
  'Target',
].map(column);

const rows = records
  .filter((r) => r[target] === 'Moon' && r[status] === 'Approved' && Number(r[diameter]) >= LEAST_KM)
  .map((r) => [r[name].normalize('NFC'), kindOf(r[name]), r[longitude], r[latitude], r[diameter]])
  .sort((a, b) => (a[0] < b[0] ? -1 : 1));
const text = `# Named features of the Moon: name, kind, longitude and latitude of the centre (degrees, east and north positive), diameter (km).
# Approved names from ${LEAST_KM} km up of the USGS / IAU Gazetteer of Planetary Nomenclature (state of 2015, public domain).
# Made by scripts/make-features.mjs.
${rows.map((row) => `${row.join('\t')}\n`).join('')}`;
writeFileSync(out ?? join(root, 'packages', 'core', 'data', 'moon-features.tsv'), text);

/** A letter behind a crater's name makes a satellite of it. */
function kindOf(feature) {
  const kind = OTHERS.get(feature) ?? KINDS.get(feature.split(' ')[0]);
  if (kind) return kind;
  return / [A-Z]{1,2}( Inner| Outer)?$/.test(feature) ? 'satellite' : 'crater';
}

/** Fields of a line of comma-separated values; "" within quotes is a quote. */
function fields(line) {
  const found = [];
  for (const match of line.matchAll(/(?:"((?:[^"]|"")*)"|([^,]*))(?:,|$)/g)) {
    if (match.index === line.length && found.length > 0) break;
    found.push(match[1] === undefined ? match[2] : match[1].replaceAll('""', '"'));
  }
  return found;
}
