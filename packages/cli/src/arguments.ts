import { UsageError } from '@plenilune/core/errors';
import { InvalidArgumentError } from 'commander';

/** Reads a whole number of at least `least`, for commander. */
export function wholeNumber(least: number): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (!/^\d+$/.test(text) || !Number.isSafeInteger(value) || value < least) {
      throw new InvalidArgumentError(`Expected a whole number, ${least} or more.`);
    }
    return value;
  };
}

/** Reads a number, for commander. */
export function number(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value)) throw new InvalidArgumentError('Expected a number.');
  return value;
}

/** Reads a size such as 960x640, for commander. */
export function size(text: string): { readonly widthPx: number; readonly heightPx: number } {
  const match = /^(\d+)x(\d+)$/.exec(text);
  if (!match) throw new InvalidArgumentError('Expected a size such as 960x640.');
  return { widthPx: Number(match[1]), heightPx: Number(match[2]) };
}

/** A frame to be cut from a plate. */
interface Crop {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly centre?: { readonly x: number; readonly y: number };
}

/** Reads frames such as 3840x2160, or 3840x2160@5000,4200 with the middle on the plate, for commander, one after the other. */
export function crop(text: string, before: readonly Crop[] = []): readonly Crop[] {
  const match = /^(\d+)x(\d+)(?:@(\d+(?:\.\d+)?),(\d+(?:\.\d+)?))?$/.exec(text);
  if (!match) throw new InvalidArgumentError('Expected a frame such as 3840x2160 or 3840x2160@5000,4200.');
  const frame = { widthPx: Number(match[1]), heightPx: Number(match[2]) };
  const centre = match[3] === undefined ? {} : { centre: { x: Number(match[3]), y: Number(match[4]) } };
  return [...before, { ...frame, ...centre }];
}

/** Reads whole numbers separated by commas, for commander. */
export function wholeNumbers(text: string): readonly number[] {
  return text.split(',').map(wholeNumber(0));
}

const UNITS: Readonly<Record<string, number>> = { MiB: 2 ** 20, GiB: 2 ** 30, MB: 1e6, GB: 1e9 };

/** Reads an amount of memory such as 2GiB, for commander, in bytes. */
export function bytes(text: string): number {
  const match = /^(\d+(?:\.\d+)?) ?(MiB|GiB|MB|GB)$/.exec(text);
  if (!match) throw new InvalidArgumentError('Expected an amount such as 2GiB or 512MiB.');
  return Math.round(Number(match[1]) * UNITS[match[2]!]!);
}

/** Reads a part of a circle such as 60..120 or -10..20, for commander, in degrees. */
export function angles(text: string): { readonly fromDeg: number; readonly toDeg: number } {
  const match = /^(-?\d+(?:\.\d+)?)\.\.(-?\d+(?:\.\d+)?)$/.exec(text);
  if (!match) throw new InvalidArgumentError('Expected two angles such as 60..120.');
  return { fromDeg: Number(match[1]), toDeg: Number(match[2]) };
}

/** Reads a place such as 46.62,8.04 or 46.62,8.04,1034, for commander. */
export function coordinates(text: string): {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly heightM?: number;
} {
  const match = /^(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)(?:,(-?\d+(?:\.\d+)?))?$/.exec(text);
  if (!match) throw new InvalidArgumentError('Expected latitude and longitude such as 46.62,8.04 or 46.62,8.04,1034.');
  const place = { latitudeDeg: Number(match[1]), longitudeDeg: Number(match[2]) };
  return match[3] === undefined ? place : { ...place, heightM: Number(match[3]) };
}

/**
 * A moment in ISO 8601, UTC unless it names its offset; a day alone stands for its start or for its end. Throws
 * `UsageError` for anything else.
 */
export function moment(text: string, edge: 'start' | 'end'): Date {
  const match = /^(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d)?)(Z|[+-]\d\d:\d\d)?)?$/.exec(text);
  const [, day, time, offset = 'Z'] = match ?? [];
  const date = new Date(time === undefined ? `${day}T00:00:00Z` : `${day}T${time}${offset}`);
  // The calendar has no 30 February, though the runtime takes it for 2 March.
  const real = new Date(`${day}T00:00:00Z`).toJSON()?.slice(0, 10) === day;
  if (!match || !real || Number.isNaN(date.getTime())) {
    throw new UsageError(`${text} is no date; give one such as 2031-03-04 or 2031-03-04T21:15Z`);
  }
  return time === undefined && edge === 'end' ? new Date(date.getTime() + 86_400_000) : date;
}

/** The names of a choice of the library's, before it is loaded: the compiler refuses one too many and one too few. */
export function choicesOf<Name extends string>(names: Readonly<Record<Name, true>>): Name[] {
  return Object.keys(names) as Name[];
}
