import { InputError } from '../job/errors.js';
import { nearestName } from './settings-nearest.js';
import { SETTINGS_FILE } from './settings-read.js';

/**
 * The frames that settings leave out: by name, by index from 0, or by ranges of these with both ends included. Throws
 * {@link InputError} `SETTINGS_INVALID` for what names no frame.
 */
export function ignoredFrames(
  names: readonly string[],
  entries: readonly (string | number)[],
  pass: string,
): ReadonlySet<number> {
  const ignored = new Set<number>();
  for (const entry of entries) {
    const [first, last] = rangeOf(names, entry);
    if (first < 0 || last < first || last >= names.length) throw unknown(names, entry, pass);
    for (let i = first; i <= last; i++) ignored.add(i);
  }
  return ignored;
}

function rangeOf(names: readonly string[], entry: string | number): [number, number] {
  const named = names.indexOf(String(entry));
  if (named >= 0) return [named, named];
  const found = /^(\d+)(?:-(\d+))?$/.exec(String(entry));
  return found ? [Number(found[1]), Number(found[2] ?? found[1])] : [-1, -1];
}

function unknown(names: readonly string[], entry: string | number, pass: string): InputError {
  const near = nearestName(String(entry), names);
  const hint = near === undefined ? '' : ` Did you mean "${near}"?`;
  return new InputError(
    'SETTINGS_INVALID',
    `${SETTINGS_FILE}: ignoreFrames of the pass "${pass}" has ${entry}, which is none of its ${names.length} frames ` +
      `(0 to ${names.length - 1}, or their names).${hint}`,
  );
}
