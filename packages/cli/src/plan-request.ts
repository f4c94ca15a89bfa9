import type { BodyName, PlanOptions, PlanWish } from '@plenilune/core';
import { UsageError } from '@plenilune/core/errors';
import { moment } from './arguments.js';
import type { OptionOf } from './in-options.js';
import type { CommonOptions } from './run.js';

/** The options of `plan` as they are given. */
export interface PlanArguments extends CommonOptions {
  readonly settings?: string;
  readonly site?: { readonly latitudeDeg: number; readonly longitudeDeg: number; readonly heightM?: number };
  readonly zone?: string;
  readonly focal?: number;
  readonly aperture?: number;
  readonly reducer?: number;
  readonly sensor?: { readonly widthPx: number; readonly heightPx: number };
  readonly pitch?: number;
  readonly readout?: number;
  readonly bits?: number;
  readonly fps?: number;
  readonly body?: BodyName;
  readonly from?: string;
  readonly to?: string;
  readonly altitude?: number;
  readonly sky?: 'dark' | 'twilight' | 'any';
  readonly elongation?: { readonly fromDeg: number; readonly toDeg: number };
  readonly colongitude?: { readonly fromDeg: number; readonly toDeg: number };
  readonly feature?: string;
  readonly within?: number;
  readonly like?: string;
  readonly window?: number;
  readonly pointing?: number;
  readonly overlap?: number;
  readonly roll?: number;
  readonly reaim?: number;
  readonly html?: string;
  readonly ics?: string;
  readonly rehearse?: string;
  readonly force?: boolean;
}

/**
 * What the settings say, and over it what the command line says. Throws `UsageError` with the names of all that is missing,
 * and for dates that are none or run backwards.
 */
export function planRequest(settings: Partial<PlanOptions>, options: PlanArguments): PlanOptions {
  const rig = {
    site: { ...settings.site, ...options.site, ...only({ timeZone: options.zone }) },
    optics: {
      ...settings.optics,
      ...only({ focalLengthMm: options.focal, apertureMm: options.aperture, reducer: options.reducer }),
    },
    sensor: {
      ...settings.sensor,
      ...options.sensor,
      ...only({ pitchUm: options.pitch, readoutMs: options.readout, bitDepth: options.bits }),
    },
  };
  return {
    ...rig,
    ...spanOf(options, missingOf(rig)),
    wish: wishOf(options),
    ...only({
      body: options.body ?? settings.body,
      window: options.window,
      framesPerSecond: options.fps,
      pointingErrorArcsec: options.pointing,
      overlap: options.overlap,
      rollDeg: options.roll,
      reaimS: options.reaim,
    }),
  };
}

/** What a plan cannot do without: the option, and the fields that it stands for. */
const NEEDED = [
  { option: '--site <lat,lon[,m]>', section: 'site', fields: ['latitudeDeg', 'longitudeDeg'] },
  { option: '--focal <mm>', section: 'optics', fields: ['focalLengthMm'] },
  { option: '--sensor <size>', section: 'sensor', fields: ['widthPx', 'heightPx'] },
  { option: '--pitch <um>', section: 'sensor', fields: ['pitchUm'] },
] as const;

/** Each option that is missing, with the fields that may stand for it. */
function missingOf(rig: Pick<PlanOptions, 'site' | 'optics' | 'sensor'>): string[] {
  return NEEDED.flatMap(({ option, section, fields }) => {
    const said = new Set(Object.keys(only(rig[section] ?? {})));
    const lacking = fields.filter((field) => !said.has(field));
    const names = lacking.map((field) => `${section}.${field}`).join(', ');
    return lacking.length === 0 ? [] : [`${option} (${names} in the settings file)`];
  });
}

function spanOf({ from, to }: PlanArguments, missing: readonly string[]): Pick<PlanOptions, 'from' | 'to'> {
  const dates = [...(from === undefined ? ['--from <date>'] : []), ...(to === undefined ? ['--to <date>'] : [])];
  const all = [...dates, ...missing];
  if (from === undefined || to === undefined || all.length > 0) {
    const [are, as] = all.length === 1 ? ['is', 'it as an option'] : ['are', 'them as options'];
    const orFile = missing.length > 0 ? ' or, where a field is named, in a file of --settings' : '';
    throw new UsageError(`${all.join('; ')} ${are} missing; give ${as}${orFile}`);
  }
  const span = { from: moment(from, 'start'), to: moment(to, 'end') };
  if (span.from < span.to) return span;
  throw new UsageError(`--from ${from} is not before --to ${to}; give the earlier one as --from`);
}

/** The options of `plan` that stand for fields which the library may find fault with. */
export const PLAN_OPTION_OF: OptionOf = {
  ...{ 'site.latitudeDeg': '--site', 'site.longitudeDeg': '--site', 'site.heightM': '--site' },
  ...{ 'optics.focalLengthMm': '--focal', 'optics.apertureMm': '--aperture', 'optics.reducer': '--reducer' },
  ...{ 'sensor.widthPx': '--sensor', 'sensor.heightPx': '--sensor', 'sensor.pitchUm': '--pitch' },
  ...{ 'sensor.readoutMs': '--readout', 'sensor.bitDepth': '--bits', framesPerSecond: '--fps', rollDeg: '--roll' },
  ...{ pointingErrorArcsec: '--pointing', reaimS: '--reaim', leastAltitudeDeg: '--altitude', withinDeg: '--within' },
  ...{ 'elongation.fromDeg': '--elongation', 'elongation.toDeg': '--elongation', overlap: '--overlap' },
  ...{ 'colongitude.fromDeg': '--colongitude', 'colongitude.toDeg': '--colongitude', window: '--window' },
};

function wishOf({ altitude, sky, elongation, colongitude, feature, within, like }: PlanArguments): PlanWish {
  if (within !== undefined && feature === undefined) {
    throw new UsageError('--within <deg> is given without --feature <name>; say what is to be near the terminator');
  }
  return {
    ...only({ leastAltitudeDeg: altitude, sky, elongation, colongitude }),
    ...(feature === undefined ? {} : { feature: { name: feature, ...only({ withinDeg: within }) } }),
    ...(like === undefined ? {} : { like: moment(like, 'start') }),
  };
}

/** Without the fields that are not given. */
function only<T extends object>(fields: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  const given = Object.entries(fields).filter(([, value]) => value !== undefined);
  return Object.fromEntries(given) as { [K in keyof T]?: Exclude<T[K], undefined> };
}
