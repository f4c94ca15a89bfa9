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
