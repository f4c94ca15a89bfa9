import { type FileHandle, open, stat } from 'node:fs/promises';
import { InputError } from '../job/errors.js';
import { type ByteSource, bytesOf } from './byte-source.js';
import { judgeDng } from './dng-samples.js';
import { judgeExr } from './exr-header.js';
import { judgeFits } from './fits-samples.js';
import { pictures } from './picture-library.js';
import { judgePng } from './png-header.js';
import { judgePnm } from './pnm-header.js';
import { adviceFor, EXPORT_ADVICE, type StillFormat, sniffFile } from './sniff.js';
import { judgeTiff } from './tiff-header.js';
import { readTiffTags, TIFF_TAG } from './tiff-tags.js';

/** How a still's samples are stored, known before any of them is read. */
export interface StillHeader {
  readonly format: StillFormat;
  /** Upright size (space 2). */
  readonly widthPx: number;
  readonly heightPx: number;
  /** Size as stored, before the orientation is applied. */
  readonly storedWidthPx: number;
  readonly storedHeightPx: number;
  /** Channels of the picture without alpha. */
  readonly channels: 1 | 3;
  readonly alpha: 'none' | 'separate' | 'premultiplied';
  /** Bits of one decoded sample: 8, 16, 32 or 64. */
  readonly bitsPerSample: number;
  readonly samples: 'unsigned' | 'float';
  /** Tag 274 of TIFF 6.0 and Exif, 1 to 8. */
  readonly orientation: number;
  readonly icc: Buffer | undefined;
  /** The curve that the file declares other than by a profile, if it does. */
  readonly declared: DeclaredCurve | undefined;
  /** Recorded codes that mean 0 and 1, where those are not 0 and the largest of `bitsPerSample`, or 1 for floats. */
  readonly scale?: { readonly zero: number; readonly white: number };
  /** The kind of file holds linear light: unless the caller says otherwise, or, from a sensor's raw data, always. */
  readonly linear?: 'unless-told' | 'always';
  /** Row-major 3 x 3 from the file's linear RGB to linear sRGB. */
  readonly toSrgb?: readonly number[];
  /** What was passed over in reading, in plain words. */
  readonly notes: readonly string[];
}

/** A curve stated by PNG's cICP, sRGB or gAMA chunks. A number is the exponent from light to code. */
export type DeclaredCurve = 'srgb' | 'linear' | 'bt709' | number;

/** What a kind of file adds to the facts that every kind has; `format` where it is not what the signature says. */
export type FormatFacts = Omit<StillHeader, 'format' | 'widthPx' | 'heightPx'> & { readonly format?: StillFormat };

/** Largest announced size that is read, in pixels; a larger one is taken for a broken or hostile header. */
export const MOST_PIXELS = 400_000_000;

/**
 * Reads the header of a still and decides whether its samples can be read truthfully. No pixel is decoded and no memory
 * is taken for them. Throws {@link InputError} `FRAME_UNREADABLE` with the cause and what to export.
 */
export async function readStillHeader(path: string): Promise<StillHeader> {
  let file: FileHandle | undefined;
  try {
    // Opening a pipe would wait for a writer for ever.
    const found = await stat(path);
    if (!found.isFile()) throw new Error('it is not a plain file');
    if (found.size === 0) throw new Error('it is empty');
    file = await open(path, 'r');
    const { format, name } = await sniffFile(file, path);
    if (format === undefined) throw unknownKind(path, name);
    const facts = await factsOf(format, path, file, (await file.stat()).size);
    const turned = facts.orientation >= 5;
    return {
      format,
      ...facts,
      widthPx: turned ? facts.storedHeightPx : facts.storedWidthPx,
      heightPx: turned ? facts.storedWidthPx : facts.storedHeightPx,
    };
  } catch (error) {
    throw unreadable(path, error);
  } finally {
    await file?.close();
  }
}

/** The typed error for a file that cannot be read; keeps an error that is already typed. */
export function unreadable(path: string, cause: unknown): InputError {
  if (cause instanceof InputError) return cause;
  const lines = (cause instanceof Error ? cause.message : String(cause)).trim().split('\n');
  const told = lines.find((line) => line !== '' && !line.startsWith('Warning treated as error'));
  const first = told?.replace(/[:. ]+$/, '') ?? 'its decoder gives up on it';
  return new InputError('FRAME_UNREADABLE', `${path} cannot be read as a frame: ${first}. ${EXPORT_ADVICE}`, { cause });
}

function unknownKind(path: string, name: string | undefined): InputError {
  const cause = name === undefined ? 'it has no known signature' : `it is ${name}`;
  return new InputError('FRAME_UNREADABLE', `${path} cannot be read as a frame: ${cause}. ${adviceFor(name)}`);
}

async function judgeTiffOrDng(file: FileHandle, source: ByteSource): Promise<FormatFacts> {
  const tags = await readTiffTags(file, source.sizeBytes);
  return tags.numbers.has(TIFF_TAG.DngVersion) ? judgeDng(source) : judgeTiff(tags, source.sizeBytes);
}

async function factsOf(format: StillFormat, path: string, file: FileHandle, sizeBytes: number): Promise<FormatFacts> {
  const source = bytesOf(file, sizeBytes);
  if (format === 'tiff') return judgeTiffOrDng(file, source);
  if (format === 'png') return judgePng(path, file, sizeBytes);
  if (format === 'fits') return judgeFits(source);
  if (format === 'exr') return judgeExr(source);
  if (format === 'pnm') return judgePnm(source);
  return judgeJpeg(path, file);
}

/** Bytes of a JPEG within which the index of a multi-picture file (CIPA DC-007) comes, after Exif and its thumbnail. */
const JPEG_HEAD_BYTES = 1 << 17;

async function judgeJpeg(path: string, file: FileHandle): Promise<FormatFacts> {
  const meta = await pictures(path, { limitInputPixels: false }).metadata();
  if (meta.space !== 'srgb' && meta.space !== 'b-w') throw new Error(`its colours are ${meta.space}, not RGB or grey`);
  const { buffer, bytesRead } = await file.read(Buffer.alloc(JPEG_HEAD_BYTES), 0, JPEG_HEAD_BYTES, 0);
  const severalPictures = buffer.subarray(0, bytesRead).includes('MPF\0', 0, 'latin1');
  return {
    storedWidthPx: meta.width,
    storedHeightPx: meta.height,
    channels: meta.channels === 1 ? 1 : 3,
    alpha: 'none',
    bitsPerSample: 8,
    samples: 'unsigned',
    orientation: meta.orientation ?? 1,
    icc: meta.icc,
    declared: undefined,
    notes: severalPictures ? ['The file holds several pictures; the first one is used.'] : [],
  };
}
