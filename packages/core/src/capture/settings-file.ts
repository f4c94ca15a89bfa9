import { open, stat } from 'node:fs/promises';
import { InputError } from '../job/errors.js';
import { MOST_SETTINGS_BYTES, parseSettings, readSettings } from './settings-read.js';
import type { CaptureSettings } from './settings-types.js';

/**
 * The settings in a file of the form of `capture.yaml`, whatever its name, or in that of a capture's folder.
 *
 * @throws InputError CAPTURE_UNREADABLE, SETTINGS_INVALID
 */
export async function readSettingsFile(path: string): Promise<CaptureSettings> {
  try {
    if ((await stat(path)).isDirectory()) return await readSettings(path);
    const file = await open(path, 'r');
    try {
      const most = MOST_SETTINGS_BYTES + 1;
      const { buffer, bytesRead } = await file.read(Buffer.alloc(most), 0, most, 0);
      return parseSettings(buffer.subarray(0, bytesRead), path);
    } finally {
      await file.close();
    }
  } catch (cause) {
    if (cause instanceof InputError) throw cause;
    const code = cause instanceof Error && 'code' in cause ? String(cause.code) : String(cause);
    throw new InputError('CAPTURE_UNREADABLE', `${path} cannot be read (${code}). Check its name.`, { cause });
  }
}
