import { join } from 'node:path';
import { readCubeTable } from './cube-table.js';
import { sha256File } from './hash.js';
import type { RecordedCurve } from './read-still.js';
import { AS_FILES_SAY, type Encoding } from './reading.js';
import type { EncodingSettings } from './settings-types.js';

/**
 * How recorded values are to be understood by what is asked for, the later of `settings` first; a curve that was asked
 * for on its own goes before all of them. Throws {@link InputError} `TABLE_UNREADABLE`.
 */
export async function encodingOf(
  root: string,
  settings: readonly (EncodingSettings | undefined)[],
  curve?: RecordedCurve,
): Promise<Encoding> {
  const { table, tableGives = 'linear', ...recorded }: EncodingSettings = Object.assign({}, ...settings);
  const encoding = { ...AS_FILES_SAY, ...recorded };
  if (curve !== undefined) return { ...encoding, curve, table: null };
  if (table === undefined) return { ...encoding, table: null };
  const path = join(root, table);
  const cube = await readCubeTable(path);
  return { ...encoding, table: { cube, gives: tableGives, sha256: await sha256File(path) } };
}
