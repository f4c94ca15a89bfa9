import type { BodyName } from '../capture/settings-types.js';
import { reliefNearTerminator } from '../sky/near-terminator.js';
import type { PlateFacts } from './plate-facts.js';
import type { PlateStory } from './plate-story.js';

/** What a plate shows and how it was made, in two or three sentences: 7 words or more. */
export function describePlate(facts: PlateFacts, story: PlateStory): string {
  const { plate, placedPasses, where, synthetic } = story;
  const parts = [subject(facts, story), ...litShare(facts)];
  if (facts.takenUtc !== undefined) parts.push(`taken on ${dayOf(facts.takenUtc)}`);
  const passes = placedPasses === 1 ? 'one pass' : `${placedPasses} passes`;
  const made = `One picture of ${plate.widthPx} x ${plate.heightPx} pixels, joined from ${passes} of a ${synthetic ? 'simulated' : 'fixed'} camera.`;
  const scale = where ? ` A pixel shows ${scaleOf(where.kmPerPx)} km in the middle of the disc.` : '';
  const near = reliefNames(facts, 5);
  const light = near.length > 0 ? ` Low light along the terminator brings out ${listed(near)}.` : '';
  return `${capital(parts.join(', '))}. ${made}${scale}${light}`;
}

/** Three figures, without an exponent. */
function scaleOf(kmPerPx: number): string {
  return kmPerPx < 100 ? kmPerPx.toPrecision(3) : String(Math.round(kmPerPx));
}

/** What somebody who cannot see the plate should be told. */
export function altTextOf(facts: PlateFacts, story: Pick<PlateStory, 'complete' | 'synthetic'>): string {
  const near = reliefNames(facts, 3);
  const shadows = near.length > 0 ? `, with shadows along the terminator near ${listed(near)}` : '';
  return `${capital([subject(facts, story), ...litShare(facts)].join(', '))}, against a dark sky${shadows}.`;
}

function subject(
  { body, phaseName }: PlateFacts,
  { complete, synthetic }: Pick<PlateStory, 'complete' | 'synthetic'>,
): string {
  const name = NAMES[body] ?? capital(body);
  const lit = phaseName === undefined ? name : withPhase(phaseName);
  const shown = complete ? lit : `a part of ${lit}`;
  return synthetic ? `a synthetic picture of ${shown}` : shown;
}

const NAMES: Readonly<Partial<Record<BodyName, string>>> = { moon: 'the Moon', sun: 'the Sun' };

function withPhase(phaseName: string): string {
  if (phaseName.endsWith(' quarter')) return `the Moon at ${phaseName}`;
  return `the ${phaseName.replace(/ moon$/, '')} Moon`;
}

function litShare({ illuminatedFraction }: PlateFacts): string[] {
  return illuminatedFraction === undefined ? [] : [`${Math.round(100 * illuminatedFraction)} % of the disc lit`];
}

function reliefNames({ features = [] }: PlateFacts, most: number): string[] {
  return reliefNearTerminator(features)
    .slice(0, most)
    .map(({ name }) => name);
}

/** "4 March 2031" */
function dayOf(utc: string): string {
  const [year, month, day] = utc.slice(0, 10).split('-').map(Number);
  return `${day} ${MONTHS[month! - 1]} ${year}`;
}

const MONTHS = [
  ...['January', 'February', 'March', 'April', 'May', 'June', 'July', 'August', 'September'],
  ...['October', 'November', 'December'],
];

function listed(names: readonly string[]): string {
  return names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`;
}

function capital(text: string): string {
  return `${text.charAt(0).toUpperCase()}${text.slice(1)}`;
}
