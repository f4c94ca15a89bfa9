import { readFileSync } from 'node:fs';
import { InternalError } from '../job/errors.js';
import type { BodyPoint } from './types.js';

/** What a feature is; a satellite is a crater called after a greater one nearby, with a letter. */
export type FeatureKind =
  | 'crater'
  | 'satellite'
  | 'mare'
  | 'oceanus'
  | 'lacus'
  | 'sinus'
  | 'palus'
  | 'mons'
  | 'montes'
  | 'vallis'
  | 'rima'
  | 'rimae'
  | 'rupes'
  | 'dorsum'
  | 'dorsa'
  | 'catena'
  | 'promontorium'
  | 'swirl';

/** A named feature of the Moon; its place (space 6) is the centre of a box around it. */
export interface NamedFeature extends BodyPoint {
  readonly name: string;
  readonly kind: FeatureKind;
  /** The longest extent where it is no circle. */
  readonly diameterKm: number;
}

/**
 * Every approved name of a feature of the Moon from 15 km up, far side included, in the order of names: the gazetteer
 * of the IAU in the state of 2015. Comes with the package; read once.
 */
export function namedFeatures(): readonly NamedFeature[] {
  loaded ??= load();
  return loaded;
}

let loaded: readonly NamedFeature[] | undefined;

function load(): readonly NamedFeature[] {
  const file = new URL('../../data/moon-features.tsv', import.meta.url);
  let text: string;
  try {
    text = readFileSync(file, 'utf8');
  } catch (error) {
    throw new InternalError('the table of named features is missing from the package; install it again', {
      cause: error,
    });
  }
  const rows = text.split('\n').filter((line) => line !== '' && !line.startsWith('#'));
  return Object.freeze(rows.map(parse));
}

function parse(line: string): NamedFeature {
  const [name, kind, longitude, latitude, diameter] = line.trimEnd().split('\t');
  return Object.freeze({
    name: name!,
    kind: kind as FeatureKind,
    longitudeDeg: Number(longitude),
    latitudeDeg: Number(latitude),
    diameterKm: Number(diameter),
  });
}
