import { rm, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { sha256File } from '../capture/hash.js';
import type { GridBox } from '../compute/grid-box.js';
import { throwIfAborted } from '../job/errors.js';
import type { ProgressListener } from '../job/progress.js';
import { checkSpace } from '../job/resources.js';
import { tellStage } from '../job/tell-stage.js';
import { colourName, SRGB_COLOUR } from '../plate/master-colour.js';
import { imageGuid } from './fields.js';
import { JPEG_MOST_PX, writeJpeg } from './jpeg.js';
import { writeLightFile } from './light-file.js';
import type { CommonFields, PackKind, PackPicture } from './listing.js';
import type { MarkOutline } from './mark.js';
import type { PlateRecord } from './plate-record.js';
import type { StoredPlate } from './plate-rows.js';
import { slugOf } from './slug.js';
import { copyTiffWithXmp } from './tiff-xmp.js';
import { xmpPacket } from './xmp-packet.js';

/** What the pictures of a pack are made with. */
export interface PictureOptions {
  readonly fields: CommonFields;
  /** Factor on linear light in the copies. */
  readonly gain: number;
  /** The part of the plate that they show (space 4). */
  readonly part: GridBox;
  /** Longest sides of further JPEGs. */
  readonly sizesPx: readonly number[];
  readonly mark: MarkOutline | undefined;
  readonly signal: AbortSignal | undefined;
  readonly onProgress: ProgressListener;
}

/**
 * Writes every picture of a pack into a folder: the master, and the copies that are to be looked at. Copies are made from a
 * scratch file of 12 bytes a pixel in the same folder, which is removed.
 */
export async function writePictures(
  folder: string,
  record: PlateRecord,
  options: PictureOptions,
): Promise<readonly PackPicture[]> {
  const { part, onProgress } = options;
  const { size } = await stat(record.platePath);
  await checkSpace(folder, 12 * part.width * part.height + 2 * size, 'the pack');
  const copies = copiesOf(options);
  const told = { stage: 'publish', total: copies.length + 1, unit: 'files' } as const;
  return tellStage(onProgress, told, (step) => writeAll(folder, record, options, copies, step));
}

async function writeAll(
  folder: string,
  record: PlateRecord,
  { fields, gain, part, signal }: PictureOptions,
  copies: readonly Copy[],
  step: (done: number) => void,
): Promise<PackPicture[]> {
  const { widthPx, heightPx, sha256 } = record.plate;
  const base = slugOf(fields.title);
  const pictures: PackPicture[] = [];
  const add = async (
    file: string,
    facts: Omit<PackPicture, 'file' | 'bytes' | 'sha256' | 'imageGuid'>,
  ): Promise<void> => {
    const path = join(folder, file);
    const { size: bytes } = await stat(path);
    pictures.push({
      file,
      ...facts,
      bytes,
      sha256: await sha256File(path, signal),
      imageGuid: imageGuid(sha256, file),
    });
    step(pictures.length);
  };

  const master = `${base}.tif`;
  const packetOf = (file: string): string => xmpPacket({ ...fields, imageGuid: imageGuid(sha256, file) });
  await copyTiffWithXmp(record.platePath, join(folder, master), packetOf(master));
  const colourSpace = colourName(record.colour);
  await add(master, {
    kind: 'master',
    format: 'TIFF',
    bitsPerSample: 16,
    colourSpace,
    widthPx,
    heightPx,
    marked: false,
  });

  const light = join(folder, '.light.v');
  await writeLightFile(light, storedOf(record), part, gain, signal);
  for (const { suffix, kind, longestPx, quality, mark } of copies) {
    throwIfAborted(signal);
    const file = `${base}${suffix}.jpg`;
    const xmp = packetOf(file);
    const made = await writeJpeg(light, join(folder, file), {
      part,
      longestPx,
      quality,
      xmp,
      mark,
      signal,
    });
    await add(file, {
      kind,
      format: 'JPEG',
      bitsPerSample: 8,
      colourSpace: colourName(SRGB_COLOUR),
      ...made,
      marked: mark !== undefined,
    });
  }
  await rm(light);
  return pictures;
}

/** A plate as its rows are read. */
export function storedOf({ platePath, plate, colour }: PlateRecord): StoredPlate {
  return { path: platePath, widthPx: plate.widthPx, heightPx: plate.heightPx, colour };
}

/** Longest sides of what is only looked at. */
const PREVIEW_PX = 1600;
const THUMBNAIL_PX = 400;
/** Of JPEGs that are handed over: what they lose is below what is seen at full size. */
const FULL_QUALITY = 95;
const LOOK_QUALITY = 88;

interface Copy {
  readonly suffix: string;
  readonly kind: PackKind;
  readonly longestPx: number;
  readonly quality: number;
  readonly mark: MarkOutline | undefined;
}

function copiesOf({ part, sizesPx, mark }: PictureOptions): Copy[] {
  const longest = Math.max(part.width, part.height);
  const plain = { quality: FULL_QUALITY, mark: undefined };
  const full: Copy[] = longest <= JPEG_MOST_PX ? [{ suffix: '', kind: 'full', longestPx: longest, ...plain }] : [];
  const sized = sizesPx.map((px): Copy => ({ suffix: `-${px}`, kind: 'sized', longestPx: px, ...plain }));
  const look = { quality: LOOK_QUALITY, mark };
  return [
    ...full,
    ...sized,
    { suffix: '-preview', kind: 'preview', longestPx: Math.min(longest, PREVIEW_PX), ...look },
    { suffix: '-thumbnail', kind: 'thumbnail', longestPx: Math.min(longest, THUMBNAIL_PX), ...look },
  ];
}
