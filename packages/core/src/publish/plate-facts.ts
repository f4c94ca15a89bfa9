import type { BodyName } from '../capture/settings-types.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { ephemeris } from '../sky/ephemeris.js';
import { featuresInView } from '../sky/features-in-view.js';
import { type FeatureInLight, STANDS_OUT_KM } from '../sky/near-terminator.js';
import { moonPhase } from '../sky/phase.js';
import { skyBodyOf } from '../sky/place-settings.js';
import type { Site } from '../sky/types.js';
import type { PlateStory } from './plate-story.js';

/** What is known of what a plate shows. Whatever is left out is not spoken of. */
export interface PlateFacts {
  readonly body: BodyName;
  /** Such as `waxing gibbous`. */
  readonly phaseName?: string;
  /** Lit share of the disc's area, 0 to 1. */
  readonly illuminatedFraction?: number;
  /** Selenographic colongitude of the Sun, 0 to 360. */
  readonly colongitudeDeg?: number;
  /** Named features that the plate shows. */
  readonly features?: readonly ShownFeature[];
  /** When the first exposure began, ISO 8601 in UTC. */
  readonly takenUtc?: string;
}

/** A named feature on a plate. */
export interface ShownFeature extends FeatureInLight {
  readonly name: string;
}

/**
 * What can be worked out from a plate's sidecar: when it was taken, where its times can be trusted, and from that the phase;
 * where the whole disc is on the plate, the features too. The sky is worked out for a place on the equator, so that nothing
 * tells where the camera stood: the lit share is off by 0.01 at most for it. What is synthetic was taken at no time, but is lit
 * as it was then.
 */
export function plateFacts(record: PlateStory, body: BodyName = 'moon'): PlateFacts {
  const { takenUtc, ...facts } = factsOf(record, body);
  return { ...facts, ...(takenUtc !== undefined && !record.synthetic && { takenUtc }) };
}

function factsOf(record: PlateStory, body: BodyName): PlateFacts {
  const span = timesOf(record);
  const { where } = record;
  if (where) return factsOfWhere(where, body, span?.firstMs);
  if (span === undefined) return { body };
  const takenUtc = isoSeconds(span.firstMs);
  const date = new Date((span.firstMs + span.lastMs) / 2);
  const name = skyBodyOf(body)!;
  const { illuminatedFraction, terminator } = ephemeris(name, date, NOWHERE);
  return {
    body,
    takenUtc,
    ...(illuminatedFraction !== null && { illuminatedFraction }),
    ...(terminator && { colongitudeDeg: terminator.colongitudeDeg }),
    ...(body === 'moon' && { phaseName: moonPhase(date).name }),
    ...(body === 'moon' && record.complete && { features: featuresAt(date) }),
  };
}

/** What the plate's own place on its body tells: better than the sky alone, and only what the plate shows. */
function factsOfWhere(where: Whereabouts, body: BodyName, firstMs: number | undefined): PlateFacts {
  const { illuminatedFraction, colongitudeDeg, features, utc } = where;
  return {
    body,
    ...(firstMs !== undefined && { takenUtc: isoSeconds(firstMs) }),
    ...(illuminatedFraction !== null && { illuminatedFraction }),
    ...(colongitudeDeg !== null && { colongitudeDeg }),
    ...(body === 'moon' && utc !== null && { phaseName: moonPhase(new Date(utc)).name }),
    ...(body === 'moon' && {
      features: shown(features.filter(({ covered, diameterKm }) => covered && diameterKm >= STANDS_OUT_KM)),
    }),
  };
}

function isoSeconds(atMs: number): string {
  return `${new Date(atMs).toISOString().slice(0, 19)}Z`;
}

/** When the first and the last frame of a plate began; undefined where no stamp can be trusted. */
export function timesOf({
  frames,
}: Pick<PlateStory, 'frames'>): { readonly firstMs: number; readonly lastMs: number } | undefined {
  const times = frames.flatMap(({ time }) => (time?.trusted ? [Date.parse(time.utc)] : []));
  if (times.length === 0) return undefined;
  return { firstMs: Math.min(...times), lastMs: Math.max(...times) };
}

const NOWHERE: Site = { latitudeDeg: 0, longitudeDeg: 0, heightM: 0 };

function featuresAt(date: Date): ShownFeature[] {
  return shown(featuresInView(date, NOWHERE, STANDS_OUT_KM));
}

/** Those that have a name of their own. */
function shown(features: readonly ShownFeature[]): ShownFeature[] {
  return features
    .filter(({ kind }) => kind !== 'satellite')
    .map(({ name, kind, diameterKm, lit, terminatorDeg }) => ({ name, kind, diameterKm, lit, terminatorDeg }));
}
