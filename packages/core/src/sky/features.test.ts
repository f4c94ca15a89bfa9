import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { namedFeatures } from './features.js';

const scratch = useScratch();
const features = namedFeatures();
const named = (name: string) => features.find((feature) => feature.name === name);

test('the table is what its recipe makes of the gazetteer, and is packed', () => {
  execFileSync(process.execPath, [
    'scripts/make-features.mjs',
    '../shared/real/nomenclature/moon-gazetteer.csv',
    scratch('made.tsv'),
  ]);
  const kept = new URL('../../data/moon-features.tsv', import.meta.url);
  expect(readFileSync(scratch('made.tsv'), 'utf8')).toBe(readFileSync(kept, 'utf8').replaceAll('\r\n', '\n'));
  const manifest = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8'));
  expect(manifest.files).toContain('data');
});

test('holds every approved name from 15 km up, once', () => {
  // Counted on the gazetteer with another reader of comma-separated values.
  expect(features.length).toBe(4699);
  expect(new Set(features.map(({ name }) => name)).size).toBe(4699);
  for (const { name, longitudeDeg, latitudeDeg, diameterKm } of features) {
    expect(Math.abs(longitudeDeg), name).toBeLessThanOrEqual(180);
    expect(Math.abs(latitudeDeg), name).toBeLessThanOrEqual(90);
    expect(diameterKm, name).toBeGreaterThanOrEqual(15);
  }
});

test('kinds are read from the names, accents kept', () => {
  expect(named('Copernicus')).toEqual({
    name: 'Copernicus',
    kind: 'crater',
    longitudeDeg: -20.08,
    latitudeDeg: 9.62,
    diameterKm: 96.07,
  });
  const kinds = Object.entries({
    'Mare Crisium': 'mare',
    'Oceanus Procellarum': 'oceanus',
    'Sinus Iridum': 'sinus',
    'Montes Apenninus': 'montes',
    'Mont Blanc': 'mons',
    'Vallis Alpes': 'vallis',
    'Taurus-Littrow Valley': 'vallis',
    'Rima Hadley': 'rima',
    'Rupes Recta': 'rupes',
    'Reiner Gamma': 'swirl',
    'Von Kármán': 'crater',
    'La Pérouse': 'crater',
    'Abul Wáfa Q': 'satellite',
    'Gerard Q Inner': 'satellite',
    'Wan-Hoo (Van-Gu)': 'crater',
  });
  for (const [name, kind] of kinds) expect(named(name)?.kind, name).toBe(kind);
  expect(named('Statio Tranquillitatis')).toBe(undefined);
  expect(features.some(({ name }) => name.includes('['))).toBe(false);
});
