import { SETTINGS_FORMATS } from '../capture/settings-formats.js';
import type { BodyName, OpticsSettings, SensorSettings, SiteSettings } from '../capture/settings-types.js';
import { UsageError } from '../job/errors.js';
import { airOfSettings, skyBodyOf } from '../sky/place-settings.js';
import { type Air, requireRange, type Site, SKY_BODIES, type SkyBody } from '../sky/types.js';
import type { AngleRange } from '../sky/wishes.js';
import { PLAN_DEFAULTS } from './plan-defaults.js';

/** What is wished for of a night; what is left out does not matter, save for the defaults that are named. */
export interface PlanWish {
  /** Least altitude of the body's centre, without air, 0 to 90 degrees. Default 20. */
  readonly leastAltitudeDeg?: number;
  /** The Sun's upper limb down and its centre above -18 degrees, or below that, or anywhere. Default `dark`; for the Sun `any`. */
  readonly sky?: 'twilight' | 'dark' | 'any';
  /** The Moon's phase as its elongation, degrees: 0 new, 90 first quarter, 180 full. */
  readonly elongation?: AngleRange;
  /** Selenographic colongitude of the Sun, degrees: about 0 at first quarter, 90 when full. */
  readonly colongitude?: AngleRange;
  /** A named feature of the Moon that shall be near the terminator: in the light, the Sun so high at most (default 12 degrees). */
  readonly feature?: { readonly name: string; readonly withinDeg?: number };
  /** Light as at this date: colongitude within half a day's growth (6.1 degrees); how far libration differs is told. */
  readonly like?: Date;
}

/** What {@link plan} is asked. The settings of a capture ({@link CaptureSettings}) fit in as they are. */
export interface PlanOptions {
  /** Latitude and longitude are needed; height is 0, air that of the standard atmosphere, the zone UTC unless said. */
  readonly site?: SiteSettings;
  /** The focal length is needed; the aperture gives an exposure to start from. */
  readonly optics?: OpticsSettings;
  /** Size and pitch are needed; 16 bits unless said. */
  readonly sensor?: SensorSettings;
  /** Default `moon`. Planets are plain discs. */
  readonly body?: BodyName;
  /** The searched span, 400 days at most. */
  readonly from: Date;
  readonly to: Date;
  readonly wish?: PlanWish;
  /** Which of the windows, the best being 1, the shot list is for. Default 1. */
  readonly window?: number;
  /** Default 24. */
  readonly framesPerSecond?: number;
  /** By how much an aim may miss in any direction, arcseconds. Default 60. */
  readonly pointingErrorArcsec?: number;
  /** Least overlap of neighbouring passes, as a share of the frame's side across the drift; 0 to 0.8. Default 0.15. */
  readonly overlap?: number;
  /**
   * Position angle of the frame's upper edge at the first pass, degrees from north through east. Without it the frame's long
   * side lies along the drift.
   */
  readonly rollDeg?: number;
  /** Time between passes in which to aim anew, seconds. Default 60. */
  readonly reaimS?: number;
}

/** What does the recording, checked and with its defaults. */
export interface Rig {
  readonly site: Site;
  readonly air: Air;
  readonly timeZone: string;
  readonly body: SkyBody;
  /** Of the whole optics. */
  readonly focalLengthMm: number;
  readonly apertureMm: number | null;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pitchUm: number;
  readonly readoutMs: number | null;
  readonly bitDepth: number;
  readonly framesPerSecond: number;
  readonly pointingErrorArcsec: number;
  readonly overlap: number;
  readonly rollDeg: number | null;
  readonly reaimS: number;
}

/** Checks what a plan is asked and fills in the defaults. Throws {@link UsageError} for what is missing or cannot be. */
export function rigOf(options: PlanOptions): Rig {
  const { site = {}, optics = {}, sensor = {} } = options;
  requireAll(options);
  const heightM = site.heightM ?? 0;
  requireRange('site.heightM', heightM, -500, 11_000);
  const rig: Rig = {
    site: {
      latitudeDeg: inRange('site.latitudeDeg', site.latitudeDeg, -90, 90),
      longitudeDeg: inRange('site.longitudeDeg', site.longitudeDeg, -360, 360),
      heightM,
    },
    air: airOfSettings(site),
    timeZone: zoneOf(site.timeZone ?? 'UTC'),
    body: bodyOf(options.body ?? 'moon'),
    focalLengthMm: inRange('optics.focalLengthMm', optics.focalLengthMm, 10, 100_000) * (optics.reducer ?? 1),
    apertureMm: optics.apertureMm ?? null,
    widthPx: inRange('sensor.widthPx', sensor.widthPx, 16, 100_000),
    heightPx: inRange('sensor.heightPx', sensor.heightPx, 16, 100_000),
    pitchUm: inRange('sensor.pitchUm', sensor.pitchUm, 0.1, 1000),
    readoutMs: sensor.readoutMs ?? null,
    bitDepth: sensor.bitDepth ?? PLAN_DEFAULTS.bitDepth,
    framesPerSecond: options.framesPerSecond ?? PLAN_DEFAULTS.framesPerSecond,
    pointingErrorArcsec: options.pointingErrorArcsec ?? PLAN_DEFAULTS.pointingErrorArcsec,
    overlap: options.overlap ?? PLAN_DEFAULTS.overlap,
    rollDeg: options.rollDeg ?? null,
    reaimS: options.reaimS ?? PLAN_DEFAULTS.reaimS,
  };
  requireRange('optics.reducer', optics.reducer ?? 1, 0.1, 10);
  requireRange('optics.apertureMm', rig.apertureMm ?? 1, 1, 12_000);
  requireRange('sensor.readoutMs', rig.readoutMs ?? 0, 0, 10_000);
  requireRange('sensor.bitDepth', rig.bitDepth, 1, 32);
  requireRange('framesPerSecond', rig.framesPerSecond, 0.001, 10_000);
  requireRange('pointingErrorArcsec', rig.pointingErrorArcsec, 0, 36_000);
  requireRange('overlap', rig.overlap, 0, 0.8);
  requireRange('rollDeg', rig.rollDeg ?? 0, -360, 360);
  requireRange('reaimS', rig.reaimS, 0, 86_400);
  requireField(rig);
  return rig;
}

/** Widest frame for which a tangent plane will do, degrees. */
const WIDEST_DEG = 20;

function requireField({ widthPx, heightPx, pitchUm, focalLengthMm }: Rig): void {
  const degrees = (2 * Math.atan((Math.hypot(widthPx, heightPx) * pitchUm) / 2000 / focalLengthMm) * 180) / Math.PI;
  if (degrees <= WIDEST_DEG) return;
  throw new UsageError(
    `the frame would be ${degrees.toFixed(0)}° wide from corner to corner; give a focal length, pitch and size with which it is ${WIDEST_DEG}° at most`,
  );
}

/** Fields that nothing can stand in for. */
const NEEDED = {
  site: ['latitudeDeg', 'longitudeDeg'],
  optics: ['focalLengthMm'],
  sensor: ['widthPx', 'heightPx', 'pitchUm'],
} as const;

/** All that is missing is named at once. */
function requireAll(options: PlanOptions): void {
  const missing = (['site', 'optics', 'sensor'] as const).flatMap((section) => {
    const given: Readonly<Record<string, unknown>> = { ...options[section] };
    return NEEDED[section].filter((field) => given[field] === undefined).map((field) => `${section}.${field}`);
  });
  if (missing.length === 0) return;
  const [are, number] = missing.length === 1 ? ['is', 'a number'] : ['are', 'a number for each'];
  throw new UsageError(`${missing.join(', ')} ${are} missing; give ${number}`);
}

function inRange(name: string, value: number | undefined, least: number, most: number): number {
  requireRange(name, value ?? Number.NaN, least, most);
  return value!;
}

function bodyOf(name: string): SkyBody {
  const body = skyBodyOf(name.toLowerCase());
  if (body !== undefined) return body;
  throw new UsageError(`body is ${name}; give one of ${SKY_BODIES.map((known) => known.toLowerCase()).join(', ')}`);
}

function zoneOf(name: string): string {
  const verdict = SETTINGS_FORMATS['time-zone']!(name);
  if ('fault' in verdict) throw new UsageError(`the time zone ${name} ${verdict.fault}`);
  return verdict.value;
}
