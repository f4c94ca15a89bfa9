import { createHash } from 'node:crypto';
import { writeFile } from 'node:fs/promises';
import { basename } from 'node:path';
import type { CaptureSettings } from '../capture/settings-types.js';
import { writeWhole } from '../plate/atomic.js';
import type { HashedFile } from '../plate/hashed-file.js';
import { imageGuid } from './fields.js';
import { plateFields } from './master-xmp.js';
import type { ToldPlate } from './plate-story.js';
import { xmpPacket } from './xmp-packet.js';

/** What {@link writePlateXmp} is given: the settings of the capture, what is told of the plate, and the plate's own file. */
export interface PlateXmp {
  readonly settings: CaptureSettings;
  readonly told: ToldPlate;
  readonly plate: HashedFile;
}

/**
 * Writes the metadata of a plate as a file for tools that want one: what the master carries, and a name of its own for the
 * plate's bytes. Nothing tells where the camera stood. Gives its name and hash.
 *
 * @throws OutputError OUTPUT_EXISTS without `force`, OUTPUT_UNWRITABLE; ResourceError OUT_OF_SPACE
 */
export async function writePlateXmp(
  path: string,
  { settings, told, plate }: PlateXmp,
  force: boolean,
): Promise<HashedFile> {
  const guid = imageGuid(plate.sha256, plate.file);
  const text = `${xmpPacket({ ...plateFields(settings, told), imageGuid: guid })}\n`;
  await writeWhole(path, (temporary) => writeFile(temporary, text, { flag: 'wx' }), { force });
  return { file: basename(path), sha256: createHash('sha256').update(text).digest('hex') };
}
