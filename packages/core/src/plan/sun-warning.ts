import { type Aim, type SunCause, type SunCaution, sunCaution } from '../sky/caution.js';
import type { SkyBody } from '../sky/types.js';
import type { Rig } from './plan-options.js';

/** What to mind about the Sun in a plan or a window. */
export interface SunWarning {
  readonly causes: readonly SunCause[];
  /** In one plain sentence. */
  readonly warning: string;
  /** What has to be done. */
  readonly cautions: SunCaution['cautions'];
}

/** What there is to mind at any of some moments, for the body or for another aim; null when there is nothing. */
export function sunWarningAt(rig: Rig, momentsMs: readonly number[], aim: SkyBody | Aim = rig.body): SunWarning | null {
  return merged(
    momentsMs.map((at) => {
      const { causes, cautions } = sunCaution(new Date(at), rig.site, aim);
      return causes.length === 0 ? null : { causes, warning: '', cautions };
    }),
  );
}

/**
 * All warnings in one: every cause, each kind of caution once, as the first of them has it; null when there is none. `where`
 * comes before the causes.
 */
export function merged(warnings: readonly (SunWarning | null)[], where = ''): SunWarning | null {
  const given = warnings.filter((one) => one !== null);
  if (given.length === 0) return null;
  const causes = [...new Set(given.flatMap((one) => one.causes))];
  const cautions = new Map<string, SunCaution['cautions'][number]>();
  for (const caution of given.flatMap((one) => one.cautions)) {
    if (!cautions.has(caution.code)) cautions.set(caution.code, caution);
  }
  const why = causes.map((cause) => WORDS[cause]).join(', ');
  return {
    causes,
    warning: `SUN: ${where}${why}. Never point optics at or near the Sun without a certified full-aperture filter.`,
    cautions: [...cautions.values()],
  };
}

const WORDS: Readonly<Record<SunCause, string>> = {
  SUN_IS_AIM: 'the aim is the Sun',
  SUN_IS_UP: 'the Sun is over the horizon or on it',
  SUN_IS_NEAR: 'the Sun is within 30° of the aim',
};
