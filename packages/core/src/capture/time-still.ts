import { type FileHandle, open, stat } from 'node:fs/promises';
import { pictures } from './picture-library.js';
import { readPngHeader } from './png-chunks.js';
import { unreadable } from './still-header.js';
import { type ExifFacts, readExifBlock, readTiffExif } from './time-exif.js';
import { readFits } from './time-fits.js';
import { type ClockStamp, parseIsoStamp, parseMailStamp } from './time-text.js';
import { readXmp, type XmpFacts } from './time-xmp.js';

/** Kinds of still whose records are understood; of any other, only what the file system knows is read. */
export type TimedFormat = 'jpeg' | 'png' | 'tiff' | 'dng' | 'fits' | 'other';

/** Whether the records of a kind of still are understood. */
export function isTimed(format: string): format is TimedFormat {
  return TIMED.has(format);
}

const TIMED: ReadonlySet<string> = new Set<TimedFormat>(['jpeg', 'png', 'tiff', 'dng', 'fits']);

/** Where a moment was found. */
export type StillTimeSource = 'exif' | 'xmp' | 'fits' | 'png' | 'file';

/** When a still was exposed, as far as it says, and how. */
export interface StillTime {
  /** As its source recorded it; `offsetMin` is `undefined` when the zone is not known. */
  readonly stamp: ClockStamp;
  readonly source: StillTimeSource;
  /** `taken`: when the exposure began. `changed`: when the picture, or the file, was last changed; it may be by years later. */
  readonly meaning: 'taken' | 'changed';
  readonly exposureS: number | undefined;
  readonly iso: number | undefined;
  readonly sensorTemperatureC: number | undefined;
  /** What could not be read, in plain words. */
  readonly notes: readonly string[];
}

/**
 * Reads when a still was exposed, and with what exposure. Of what the file records, the first counts that is there: Exif
 * or XMP of the exposure, FITS, PNG's `Creation Time`, Exif's and PNG's time of last change, that of the file system.
 * Only headers are read, at most some megabytes. Broken records are passed over with a note. Throws {@link InputError}
 * `FRAME_UNREADABLE` when the file is no plain file or may not be read.
 */
export async function readStillTime(path: string, format: TimedFormat): Promise<StillTime> {
  let file: FileHandle | undefined;
  try {
    const found = await stat(path);
    if (!found.isFile()) throw new Error('it is not a plain file');
    file = await open(path, 'r');
    const notes: string[] = [];
    const records = await readRecords(path, file, found.size, format, notes);
    const best = bestOf(records);
    // One file alone does not tell whether its system counts in whole seconds: the pass does.
    const stamp = { clockMs: found.mtimeMs, stepS: 0.001, offsetMin: 0 };
    return {
      ...(best ?? { stamp, source: 'file', meaning: 'changed' }),
      exposureS: records.exif?.exposureS ?? records.xmp?.exposureS ?? records.fits?.exposureS,
      iso: records.exif?.iso ?? records.xmp?.iso,
      sensorTemperatureC: records.fits?.sensorTemperatureC,
      notes,
    };
  } catch (error) {
    throw unreadable(path, error);
  } finally {
    await file?.close();
  }
}

interface Records {
  readonly exif?: ExifFacts | undefined;
  readonly xmp?: XmpFacts | undefined;
  readonly fits?: Awaited<ReturnType<typeof readFits>> | undefined;
  readonly png?: { readonly created: ClockStamp | undefined; readonly changed: ClockStamp | undefined } | undefined;
}

type Moment = Pick<StillTime, 'stamp' | 'source' | 'meaning'>;

function bestOf({ exif, xmp, fits, png }: Records): Moment | undefined {
  const moments: readonly [ClockStamp | undefined, StillTimeSource, StillTime['meaning']][] = [
    [finer(exif?.taken, xmp?.taken), 'exif', 'taken'],
    [xmp?.taken, 'xmp', 'taken'],
    [fits?.taken, 'fits', 'taken'],
    [png?.created, 'png', 'taken'],
    [exif?.changed, 'exif', 'changed'],
    [png?.changed, 'png', 'changed'],
  ];
  for (const [stamp, source, meaning] of moments) if (stamp !== undefined) return { stamp, source, meaning };
  return undefined;
}

/** Exif's stamp, with XMP's decimals where XMP gives the same second and Exif stops there. */
function finer(exif: ClockStamp | undefined, xmp: ClockStamp | undefined): ClockStamp | undefined {
  if (exif === undefined || xmp === undefined || xmp.stepS >= exif.stepS) return exif;
  const same = Math.floor(xmp.clockMs / 1000) === Math.floor(exif.clockMs / 1000);
  return same ? { ...exif, clockMs: xmp.clockMs, stepS: xmp.stepS } : exif;
}

async function readRecords(
  path: string,
  file: FileHandle,
  sizeBytes: number,
  format: TimedFormat,
  notes: string[],
): Promise<Records> {
  const attempt = async <Facts>(what: string, read: () => Promise<Facts> | Facts): Promise<Facts | undefined> => {
    try {
      return await read();
    } catch (error) {
      const cause = (error instanceof Error ? error.message : String(error)).trim().split('\n')[0];
      notes.push(`Its ${what} cannot be read: ${cause}.`);
      return undefined;
    }
  };
  if (format === 'fits') return { fits: await attempt('header', () => readFits(file)) };
  if (format === 'tiff' || format === 'dng') {
    const exif = await attempt('Exif record', () => readTiffExif(file, sizeBytes));
    const packet = exif?.xmp;
    return { exif, xmp: packet === undefined ? undefined : await attempt('XMP record', () => readXmp(packet)) };
  }
  if (format === 'other') return {};
  const meta = await attempt('header', () => pictures(path, { limitInputPixels: false }).metadata());
  const { exif: block, xmp: packet } = meta ?? {};
  return {
    exif: block && (await attempt('Exif record', () => readExifBlock(block))),
    xmp: packet && (await attempt('XMP record', () => readXmp(packet.toString('utf8')))),
    png: format === 'png' ? await readPngTimes(file, sizeBytes, meta?.comments ?? []) : undefined,
  };
}

/** PNG specification, third edition: the text `Creation Time` and the chunk tIME, which is in UTC. */
async function readPngTimes(
  file: FileHandle,
  sizeBytes: number,
  texts: readonly { readonly keyword: string; readonly text: string }[],
): Promise<Records['png']> {
  const created = texts.find(({ keyword }) => keyword === 'Creation Time')?.text ?? '';
  const header = await readPngHeader(file, sizeBytes).catch(() => undefined);
  return { created: parseIsoStamp(created) ?? parseMailStamp(created), changed: stampOf(header?.changed) };
}

function stampOf(fields: readonly number[] | undefined): ClockStamp | undefined {
  if (fields === undefined) return undefined;
  const [year, month, day, hour, minute, second] = fields.map((value) => String(value).padStart(2, '0'));
  return parseIsoStamp(`${year}-${month}-${day}T${hour}:${minute}:${second}Z`);
}
