import type { BodyName } from '../capture/settings-types.js';
import { UsageError } from '../job/errors.js';
import { reliefNearTerminator } from '../sky/near-terminator.js';
import { plainLine } from './plain-text.js';
import type { PlateFacts, ShownFeature } from './plate-facts.js';

/** Keywords that libraries of pictures ask for, at least and at most. */
export const KEYWORD_LIMITS: { readonly least: number; readonly most: number; readonly characters: number } = {
  least: 7,
  most: 50,
  characters: 64,
};

/**
 * Words that a plate is found by: the maker's own first, then the body, the phase and the light, then named features, the
 * most striking first; each once whatever its case, 7 to 50 in all. What is `synthetic` is called that before all else.
 * Commas and semicolons part keywords. Throws
 * `UsageError` when the maker's own are more than 50, or one has more than 64 characters.
 */
export function keywordsOf(facts: PlateFacts, own: readonly string[] = [], synthetic = false): string[] {
  const mine = distinct(own.flatMap((text) => text.split(/[,;]/)));
  const { most, characters } = KEYWORD_LIMITS;
  if (mine.length > most) throw new UsageError(`there are ${mine.length} keywords; give ${most} at most`);
  const long = mine.find((word) => [...word].length > characters);
  if (long !== undefined) throw new UsageError(`the keyword "${long}" is longer than ${characters} characters`);
  const shown = strikingFeatures(facts).map(({ name }) => name);
  const first = synthetic ? distinct(['synthetic', ...mine]) : mine;
  const body = bodyWords(facts.body).filter((word) => !(synthetic && OF_PHOTOGRAPHS.has(word)));
  return distinct([...first, ...body, ...lightWords(facts), ...shown]).slice(0, most);
}

/** The features that stand out most: those that cast long shadows, then the great plains in the light, the largest first. */
export function strikingFeatures({ features = [] }: PlateFacts): ShownFeature[] {
  const plains = features
    .filter(({ kind, lit }) => lit && PLAINS.has(kind))
    .sort((a, b) => b.diameterKm - a.diameterKm);
  return [...reliefNearTerminator(features).slice(0, MOST_RELIEF), ...plains.slice(0, MOST_PLAINS)];
}

const MOST_RELIEF = 14;
const MOST_PLAINS = 8;
const PLAINS: ReadonlySet<string> = new Set(['mare', 'oceanus', 'sinus', 'lacus', 'palus']);

/** Words that are true of a photograph only. */
const OF_PHOTOGRAPHS: ReadonlySet<string> = new Set(['astrophotography', 'telescope']);

function bodyWords(body: BodyName): string[] {
  if (body === 'moon') {
    return [
      ...['moon', 'lunar', 'lunar surface', 'craters', 'earth satellite', 'astronomy', 'astrophotography', 'night sky'],
      ...['space', 'celestial body', 'telescope', 'science', 'dark sky'],
    ];
  }
  const common = ['astronomy', 'astrophotography', 'space', 'solar system', 'telescope', 'science'];
  return body === 'sun' ? ['sun', 'solar', 'solar disc', 'star', ...common] : [body, 'planet', 'night sky', ...common];
}

function lightWords({ body, phaseName, colongitudeDeg, illuminatedFraction }: PlateFacts): string[] {
  const words: string[] = [];
  if (phaseName !== undefined) {
    words.push(phaseName, /moon/.test(phaseName) ? phaseName : `${phaseName} moon`);
    for (const part of ['waxing', 'waning', 'gibbous', 'crescent']) if (phaseName.includes(part)) words.push(part);
  }
  if (illuminatedFraction !== undefined && illuminatedFraction < 0.97) words.push('terminator', 'shadows');
  if (body === 'moon' && colongitudeDeg !== undefined) {
    // Up to full the Sun rises along the terminator, from then on it sets.
    words.push(colongitudeDeg > 270 || colongitudeDeg < 90 ? 'lunar sunrise' : 'lunar sunset');
    words.push(`colongitude ${Math.round(colongitudeDeg) % 360}`);
  }
  return words;
}

function distinct(words: readonly string[]): string[] {
  const seen = new Map<string, string>();
  for (const word of words.map(plainLine)) {
    const key = word.toLowerCase();
    if (word !== '' && !seen.has(key)) seen.set(key, word);
  }
  return [...seen.values()];
}
