import { constants } from 'node:fs';
import { lstat, open, readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { isMap, isSeq } from 'yaml';
import { InputError } from '../job/errors.js';
import { checkSettings } from './settings-check.js';
import { SettingsError, type SettingsFault } from './settings-fault.js';
import { SETTINGS_FORMATS } from './settings-formats.js';
import { captureSchema } from './settings-schema.js';
import type { CaptureSettings } from './settings-types.js';
import { parseYaml, type YamlTree } from './settings-yaml.js';

/** The one name under which settings are looked for, in the capture itself. */
export const SETTINGS_FILE = 'capture.yaml';

/** Bytes of `capture.yaml` that are read; a larger file is refused. */
export const MOST_SETTINGS_BYTES = 65_536;

/**
 * What `capture.yaml` in a capture's folder says; without the file, nothing. Throws {@link SettingsError}
 * `SETTINGS_INVALID` with every fault, also for a file that is too large, no UTF-8 text, or under a name that is nearly
 * right; {@link InputError} `CAPTURE_UNREADABLE` when the folder or the file may not be read.
 */
export async function readSettings(captureRoot: string): Promise<CaptureSettings> {
  const path = join(captureRoot, SETTINGS_FILE);
  try {
    const found = await lstat(path).catch(absent);
    if (found === undefined) {
      const near = (await readdir(captureRoot)).find((name) => /^capture\.ya?ml$/i.test(name));
      if (near !== undefined)
        throw whole(join(captureRoot, near), `it is called ${near}; rename it to ${SETTINGS_FILE}`);
      return {};
    }
    if (!found.isFile()) throw whole(path, 'it is no plain file; put the file itself in its place');
    return parseSettings(await readBounded(path), path);
  } catch (cause) {
    if (cause instanceof InputError) throw cause;
    const code = cause instanceof Error && 'code' in cause ? String(cause.code) : String(cause);
    throw new InputError('CAPTURE_UNREADABLE', `${path} cannot be read (${code}). Check that it may be read.`, {
      cause,
    });
  }
}

/**
 * The settings that a text holds, given as text or as the bytes of a file; `path` names it in messages. Paths come back
 * with forward slashes, everything else as written. Throws {@link SettingsError} `SETTINGS_INVALID` with every fault.
 */
export function parseSettings(text: string | Uint8Array, path: string): CaptureSettings {
  const size = typeof text === 'string' ? Buffer.byteLength(text) : text.byteLength;
  if (size > MOST_SETTINGS_BYTES)
    throw whole(path, `it holds more than ${MOST_SETTINGS_BYTES} bytes; settings are short`);
  const tree = parseYaml(typeof text === 'string' ? text.replace(/^\ufeff/, '') : decode(text, path));
  const { value, faults } = checkSettings(tree, captureSchema());
  const all = [...tree.faults, ...faults, ...findTwins(tree)];
  if (all.length > 0) throw new SettingsError(path, all);
  return value as CaptureSettings;
}

/** Passes that name the same place, or have the same name. */
function findTwins(tree: YamlTree): SettingsFault[] {
  const passes = isMap(tree.root) ? tree.root.get('passes') : undefined;
  const seen = new Set<string>();
  const faults: SettingsFault[] = [];
  for (const item of isSeq(passes) ? passes.items : []) {
    for (const field of ['folder', 'clip', 'name']) {
      const node = isMap(item) ? item.get(field, true) : undefined;
      if (node === undefined || typeof node.value !== 'string') continue;
      const plain = field === 'name' ? undefined : SETTINGS_FORMATS['path-inside']!(node.value);
      const text = plain !== undefined && 'value' in plain ? plain.value : node.value;
      const mark = `${field === 'name' ? 'name' : 'place'} ${text}`;
      if (seen.has(mark)) faults.push({ ...tree.at(node), message: `passes has ${text} twice; keep one of them` });
      seen.add(mark);
    }
  }
  return faults;
}

function decode(bytes: Uint8Array, path: string): string {
  const [a, b] = bytes;
  if ((a === 0xff && b === 0xfe) || (a === 0xfe && b === 0xff)) throw whole(path, 'it is UTF-16; save it as UTF-8');
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    throw whole(path, 'it is not UTF-8; save it as UTF-8');
  }
}

async function readBounded(path: string): Promise<Uint8Array> {
  // Between the look and the opening a link may have taken the file's place.
  const file = await open(path, constants.O_RDONLY | (constants.O_NOFOLLOW ?? 0));
  try {
    const { buffer, bytesRead } = await file.read(Buffer.alloc(MOST_SETTINGS_BYTES + 1), 0, MOST_SETTINGS_BYTES + 1, 0);
    return buffer.subarray(0, bytesRead);
  } finally {
    await file.close();
  }
}

function whole(path: string, message: string): SettingsError {
  return new SettingsError(path, [{ line: 1, column: 1, message }]);
}

function absent(cause: unknown): undefined {
  if (cause instanceof Error && 'code' in cause && cause.code === 'ENOENT') return undefined;
  throw cause;
}
