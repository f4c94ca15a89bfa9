import { stat, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { CaptureSettings } from '../capture/settings-types.js';
import { OutputError } from '../job/errors.js';
import { writeWhole } from '../plate/atomic.js';
import { imageGuid, knownFields } from './fields.js';
import { makerFromSettings, plainMaker } from './maker.js';
import { plateFacts } from './plate-facts.js';
import { readPlateRecord } from './plate-record.js';
import { xmpPacket } from './xmp-packet.js';

/**
 * Where a plate's metadata go as a file of their own. Throws what {@link writePlateXmp} would throw for a file that is there,
 * before any work is done.
 */
export async function prepareXmp(outDir: string, force: boolean): Promise<string> {
  const path = join(outDir, 'plate.xmp');
  const present = await stat(path).then(
    () => true,
    () => false,
  );
  if (!present || force) return path;
  throw new OutputError(
    'OUTPUT_EXISTS',
    `${path} exists already. Choose another folder, or allow it to be replaced (--force).`,
  );
}

/**
 * Writes the metadata of a plate that is finished as a file for tools that want one: what its sidecar tells and what
 * `capture.yaml` says of title, rights and listing. Nothing tells where the camera stood.
 *
 * @throws OutputError OUTPUT_EXISTS without `force`, OUTPUT_UNWRITABLE; ResourceError OUT_OF_SPACE
 * @throws UsageError when there are too many keywords
 */
export async function writePlateXmp(
  path: string,
  sidecarPath: string,
  settings: CaptureSettings,
  force: boolean,
): Promise<void> {
  const record = await readPlateRecord(sidecarPath);
  const maker = plainMaker(makerFromSettings(settings));
  const known = knownFields(record, plateFacts(record, settings.body), maker);
  const packet = xmpPacket({ ...known, imageGuid: imageGuid(record.plate.sha256, record.plate.file) });
  await writeWhole(path, (temporary) => writeFile(temporary, `${packet}\n`, { flag: 'wx' }), { force });
}
