import type { FileHandle } from 'node:fs/promises';

/** Kinds of still that are read. A DNG has a TIFF's signature and is told apart by its tags. */
export type StillFormat = 'png' | 'jpeg' | 'tiff' | 'fits' | 'exr' | 'pnm' | 'dng';

/** What the first bytes of a file say it is. */
export interface Sniffed {
  /** The kind of still, or `undefined` when the file is something else. */
  readonly format: StillFormat | undefined;
  /** The format's common name, or `undefined` when the signature is not known. */
  readonly name: string | undefined;
  /** Whether it is a clip, by its signature or, where that says nothing, by its extension. */
  readonly isClip: boolean;
}

/** Bytes from the start of a file that {@link sniff} needs. */
export const SNIFF_BYTES = 16;

/** What to hand over in place of a file of another kind. */
export const EXPORT_ADVICE = 'Export 16-bit TIFF or PNG, RGB or grey, one picture per file.';

/** What to hand over in place of a maker's own camera raw. */
const RAW_ADVICE = 'Convert it to DNG without loss, or export 16-bit TIFF or PNG, RGB, one picture per file.';

/** What to hand over in place of a clip that is not read. */
export const CLIP_ADVICE = 'Export ProRes, FFV1 or H.264 in MOV, MP4 or MKV, or 16-bit TIFF stills.';

/** What to hand over in place of a file of a kind that is not read, by its name from {@link sniff}. */
export function adviceFor(name: string | undefined): string {
  if (name === RAW_CLIP) return CLIP_ADVICE;
  return name === RAW ? RAW_ADVICE : EXPORT_ADVICE;
}

const STILL_EXTENSIONS: ReadonlySet<string> = new Set(
  'png jpg jpeg jpe tif tiff dng fits fit fts fz exr pgm ppm pnm pam pfm'.split(' ').map((name) => `.${name}`),
);

/** Whether a name carries an extension of a still, in any case. */
export function hasStillExtension(name: string): boolean {
  return STILL_EXTENSIONS.has(extensionOf(name));
}

/** Lower-case extension with its dot, or the empty text. */
export function extensionOf(name: string): string {
  const dot = name.lastIndexOf('.');
  return dot <= 0 ? '' : name.slice(dot).toLowerCase();
}

/**
 * Tells a file's kind by its signature, never by its name: a PNG called .jpeg is a PNG. The exception is camera raw
 * that wears a TIFF signature; those extensions are believed, and what is left is told apart by its tags.
 */
export function sniff(head: Buffer, name: string): Sniffed {
  const extension = extensionOf(name);
  if (RAW_EXTENSIONS.has(extension)) return { format: undefined, name: RAW, isClip: false };
  if (RAW_CLIP_EXTENSIONS.has(extension)) return { format: undefined, name: RAW_CLIP, isClip: false };
  if (/^P[1-7Ff][\s#]/.test(head.toString('latin1', 0, 3))) {
    return { format: 'pnm', name: 'a Netpbm picture', isClip: false };
  }
  for (const [at, signature, label, format] of SIGNATURES) {
    if (head.subarray(at, at + signature.length).equals(signature)) {
      return { format, name: label, isClip: label.endsWith(CLIP) };
    }
  }
  return { format: undefined, name: undefined, isClip: CLIP_EXTENSIONS.has(extension) };
}

/** Ends the names of clips that are read. */
const CLIP = ' clip';

const CLIP_EXTENSIONS: ReadonlySet<string> = new Set(
  'mov mp4 m4v mkv webm avi mxf y4m'.split(' ').map((name) => `.${name}`),
);

/** Reads the first bytes of an open file and tells its kind. */
export async function sniffFile(file: FileHandle, name: string): Promise<Sniffed> {
  const { buffer, bytesRead } = await file.read(Buffer.alloc(SNIFF_BYTES), 0, SNIFF_BYTES, 0);
  return sniff(buffer.subarray(0, bytesRead), name);
}

const RAW = 'camera raw of its maker';
const RAW_CLIP = 'a raw clip of its maker';

const RAW_EXTENSIONS: ReadonlySet<string> = new Set(
  '3fr arw cr2 cr3 crw dcr erf fff iiq kdc mef mos mrw nef nrw orf pef raf raw rw2 rwl sr2 srf srw x3f'
    .split(' ')
    .map((name) => `.${name}`),
);

/** Clips that only their makers' kits read; some wear a MOV's signature. */
const RAW_CLIP_EXTENSIONS: ReadonlySet<string> = new Set(
  'ari arx braw crm mlv nev r3d rmf'.split(' ').map((name) => `.${name}`),
);

/** Offset, bytes, name, and the still format where it is one that is read. First match wins. */
const SIGNATURES: readonly (readonly [number, Buffer, string, StillFormat?])[] = [
  [0, bytes('89504e470d0a1a0a'), 'PNG', 'png'],
  [0, bytes('ffd8ff'), 'JPEG', 'jpeg'],
  [8, text('CR\x02\x00'), RAW],
  [0, bytes('49492a00'), 'TIFF', 'tiff'],
  [0, bytes('4d4d002a'), 'TIFF', 'tiff'],
  [0, bytes('49492b00'), 'BigTIFF', 'tiff'],
  [0, bytes('4d4d002b'), 'BigTIFF', 'tiff'],
  [0, text('SIMPLE  ='), 'FITS', 'fits'],
  [0, bytes('762f3101'), 'OpenEXR', 'exr'],
  [0, text('GIF8'), 'GIF'],
  [0, bytes('00000100'), 'ICO'],
  [4, text('jP  \r\n'), 'JPEG 2000'],
  [0, bytes('ff4fff51'), 'JPEG 2000'],
  [0, bytes('ff0a'), 'JPEG XL'],
  [4, text('JXL \r\n'), 'JPEG XL'],
  [8, text('WEBP'), 'WebP'],
  [8, text('AVI '), 'AVI clip'],
  [0, text('BM'), 'BMP'],
  [0, text('8BPS'), 'layered PSD'],
  [0, text('FUJIFILM'), RAW],
  [0, text('FOVb'), RAW],
  [0, text('\0MRM'), RAW],
  [6, text('HEAPCCDR'), RAW],
  [0, text('IIRO'), RAW],
  [0, text('IIRS'), RAW],
  [0, text('MMOR'), RAW],
  [0, text('IIU\x00'), RAW],
  [0, text('LUCAM-RECORDER'), 'SER video'],
  [4, text('ftypheic'), 'HEIC'],
  [4, text('ftypheix'), 'HEIC'],
  [4, text('ftypmif1'), 'HEIF'],
  [4, text('ftypavif'), 'AVIF'],
  [4, text('ftypcrx '), RAW],
  [4, text('ftyp'), 'MP4 or MOV clip'],
  [4, text('moov'), 'MOV clip'],
  [4, text('mdat'), 'MOV clip'],
  [4, text('wide'), 'MOV clip'],
  [4, text('free'), 'MOV clip'],
  [4, text('skip'), 'MOV clip'],
  [0, bytes('060e2b34'), 'MXF clip'],
  [0, text('YUV4MPEG2'), 'YUV4MPEG2 clip'],
  [0, bytes('1a45dfa3'), 'Matroska clip'],
];

function bytes(hex: string): Buffer {
  return Buffer.from(hex, 'hex');
}

function text(latin1: string): Buffer {
  return Buffer.from(latin1, 'latin1');
}
