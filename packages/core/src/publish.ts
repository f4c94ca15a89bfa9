import { readFile, stat } from 'node:fs/promises';
import { resolve } from 'node:path';
import { sha256File } from './capture/hash.js';
import { readSettingsFile } from './capture/settings-file.js';
import type { CaptureSettings } from './capture/settings-types.js';
import type { GridBox } from './compute/grid-box.js';
import { InputError, type LeftOut, throwIfAborted, UsageError } from './job/errors.js';
import type { ProgressListener } from './job/progress.js';
import { publishedFields } from './publish/fields.js';
import { JPEG_MOST_PX } from './publish/jpeg.js';
import { type Licence, licenceOf } from './publish/licences.js';
import { listingOf, type PackListing } from './publish/listing.js';
import { type MakerFacts, makerFromSettings, requireMaker } from './publish/maker.js';
import { markOutline } from './publish/mark.js';
import { writePackFolder } from './publish/pack-folder.js';
import { storedOf, writePictures } from './publish/pictures.js';
import { type PlateFacts, plateFacts } from './publish/plate-facts.js';
import { type PlateRecord, readPlateRecord } from './publish/plate-record.js';
import { writeTexts } from './publish/texts.js';
import { toneOf } from './publish/tone.js';
import { trimOf } from './publish/trim.js';
import type { Site } from './sky/types.js';

/** Settings of {@link publish}. */
export interface PublishOptions {
  /** Folder of the pack; it appears whole or not at all. */
  readonly toDir: string;
  /** What only the maker can say; comes before what a file of facts says. */
  readonly maker?: MakerFacts;
  /** A file of the form of `capture.yaml`, or a capture's folder: title, rights, listing, body, site. */
  readonly factsPath?: string;
  /** A file with the text of a licence of the maker's own. */
  readonly licencePath?: string;
  /** Longest sides of further JPEGs, px; each smaller than the plate's, for nothing is made larger. Default none. */
  readonly sizesPx?: readonly number[];
  /** A text over preview and thumbnail. Default none. */
  readonly watermark?: string;
  /** Say where the camera stood, as the file of facts does. Default false: nothing in the pack tells. */
  readonly keepLocation?: boolean;
  /** What the plate shows. Default: worked out from its sidecar, as far as that can be trusted. */
  readonly shows?: PlateFacts;
  /** Replace a pack that is there. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
}

/** What {@link publish} has made. */
export interface PublishResult extends PackListing {
  /** Absolute path of the pack. */
  readonly packDir: string;
}

/**
 * Makes the pack of a plate that a library of pictures takes: the master with its metadata embedded, JPEGs at full size and at
 * stated ones, preview and thumbnail, the licence, a listing, and hashes of it all. The plate is only read. The same plate
 * and words give the same bytes.
 *
 * @param plate the folder that `stitch` wrote, or the plate in it
 * @throws InputError SIDECAR_UNREADABLE, PLATE_UNREADABLE, PLATE_CHANGED when it is not the plate that the sidecar tells of,
 *   CAPTURE_UNREADABLE and SETTINGS_INVALID for the file of facts
 * @throws UsageError FACTS_MISSING with all that only the maker can say and has not said; USAGE for words that a library
 *   would refuse, and for sizes that the plate has not
 * @throws OutputError OUTPUT_EXISTS, OUTPUT_UNWRITABLE
 * @throws InterruptedError, ResourceError OUT_OF_SPACE; nothing is left behind then
 */
export async function publish(plate: string, options: PublishOptions): Promise<PublishResult> {
  const { toDir, factsPath, shows, keepLocation = false, force = false, signal, onProgress = () => {} } = options;
  if (toDir === '' || plate === '') throw new UsageError('the name of a folder is empty; say where');
  const settings = factsPath === undefined ? {} : await readSettingsFile(factsPath);
  const maker = requireMaker(options.maker ?? {}, makerFromSettings(settings));
  const licence = await licenceFrom(maker.licence, options.licencePath);
  const mark = options.watermark === undefined ? undefined : markOutline(options.watermark);
  const site = keepLocation ? requireSite(settings) : undefined;
  const record = await readPlateRecord(resolve(plate));
  const fields = publishedFields(record, shows ?? plateFacts(record, settings.body), maker, licence, site);
  await requireUnchanged(record, signal);
  const { gain, litCode } = await toneOf(storedOf(record), record.preview.gain, signal);
  const part = await trimOf(storedOf(record), litCode, signal);
  const sizesPx = checkSizes(options.sizesPx ?? [], part);
  const packDir = resolve(toDir);
  let listing: PackListing | undefined;
  await writePackFolder(
    packDir,
    async (folder) => {
      const pictures = await writePictures(folder, record, { fields, gain, part, sizesPx, mark, signal, onProgress });
      const { x0: x, y0: y, width: widthPx, height: heightPx } = part;
      const copies = { gain, part: { x, y, widthPx, heightPx } };
      listing = listingOf(fields, licence, { plate: standingOf(record), copies, pictures, leftOut: leftOut(part) });
      await writeTexts(folder, listing, licence);
      throwIfAborted(signal);
    },
    force,
  );
  return { packDir, ...listing! };
}

/** More than any licence has. */
const MOST_LICENCE_BYTES = 1_000_000;

async function licenceFrom(given: string, path: string | undefined): Promise<Licence> {
  if (path === undefined) return licenceOf(given);
  const text = await readLicence(path);
  return licenceOf(given, text);
}

async function readLicence(path: string): Promise<string> {
  try {
    if ((await stat(path)).size > MOST_LICENCE_BYTES) throw new Error(`it holds more than ${MOST_LICENCE_BYTES} bytes`);
    return new TextDecoder('utf-8', { fatal: true }).decode(await readFile(path));
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    throw new UsageError(`the licence ${path} cannot be read (${reason}); give a text in UTF-8`, { cause });
  }
}

function requireSite({ site = {} }: CaptureSettings): Site {
  const { latitudeDeg, longitudeDeg, heightM = 0 } = site;
  if (latitudeDeg !== undefined && longitudeDeg !== undefined) return { latitudeDeg, longitudeDeg, heightM };
  throw new UsageError(
    'there is no location to keep: give a file of facts with site.latitudeDeg and site.longitudeDeg',
  );
}

/** Sizes from the largest to the smallest, each once. */
function checkSizes(sizesPx: readonly number[], part: GridBox): number[] {
  const longest = Math.max(part.width, part.height);
  for (const px of sizesPx) {
    if (!Number.isInteger(px) || px < 1) throw new UsageError(`the size ${px} is no whole number of pixels`);
    if (px >= longest || px > JPEG_MOST_PX) {
      const most = Math.min(longest - 1, JPEG_MOST_PX);
      throw new UsageError(
        `the size ${px} is too large; give ${most} px at most: the whole plate, ${longest} px, is made anyway`,
      );
    }
  }
  return [...new Set(sizesPx)].sort((a, b) => b - a);
}

async function requireUnchanged({ platePath, plate, sidecarPath }: PlateRecord, signal?: AbortSignal): Promise<void> {
  const found = await stat(platePath).catch(() => undefined);
  if (!found?.isFile()) throw new InputError('PLATE_UNREADABLE', `${platePath} is missing. Stitch the plate again.`);
  if ((await sha256File(platePath, signal)) === plate.sha256) return;
  throw new InputError(
    'PLATE_CHANGED',
    `${platePath} is not the plate that ${sidecarPath} tells of: its bytes have changed. Publish the plate as it was ` +
      'stitched, or stitch it again.',
  );
}

function standingOf({ plate, complete, synthetic }: PlateRecord): PackListing['plate'] {
  const { sha256, widthPx, heightPx, covered, alpha } = plate;
  return { sha256, widthPx, heightPx, complete, synthetic, covered, alpha };
}

function leftOut(part: GridBox): LeftOut[] {
  const longest = Math.max(part.width, part.height);
  if (longest <= JPEG_MOST_PX) return [];
  const detail = `the plate is ${longest} px long, and a JPEG ${JPEG_MOST_PX} at most; give sizes for smaller ones`;
  return [{ item: 'JPEG at full size', reason: 'too-large', detail }];
}
