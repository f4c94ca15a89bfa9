import type { ByteSource } from './byte-source.js';
import { chromaticityMatrix } from './exr-colour.js';
import type { FormatFacts } from './still-header.js';

/** Kinds of compression, by their number in the file. */
export const EXR_COMPRESSION = ['none', 'RLE', 'ZIPS', 'ZIP', 'PIZ', 'PXR24', 'B44', 'B44A', 'DWAA', 'DWAB'] as const;
export type ExrCompression = (typeof EXR_COMPRESSION)[number];

/** A channel as stored: in the order of names, each row of a block holds all its samples of one channel, then the next. */
export interface ExrChannel {
  readonly name: string;
  readonly type: 'uint' | 'half' | 'float';
  readonly perceptual: boolean;
}

/** Inclusive corners, as OpenEXR states windows. */
interface Box {
  readonly left: number;
  readonly top: number;
  readonly right: number;
  readonly bottom: number;
}

/** What is needed to read the first part of an OpenEXR file. */
export interface ExrHeader {
  readonly parts: number;
  /** Blocks begin with the number of their part. */
  readonly multiPart: boolean;
  readonly compression: ExrCompression;
  readonly channels: readonly ExrChannel[];
  readonly data: Box;
  /** What both windows share: the picture. */
  readonly shown: Box;
  /** Size of a tile, or `undefined` for blocks of whole rows. */
  readonly tile: readonly [number, number] | undefined;
  readonly chromaticities: readonly number[] | undefined;
  /** Where the offsets of the first part's blocks lie. */
  readonly tableOffset: number;
}

const MOST_HEAD_BYTES = 1 << 22;
const MOST_PARTS = 1000;
/** Farthest corner of a window. */
const FARTHEST = 1 << 24;

/** The facts of the first part of an OpenEXR file. Throws a plain `Error` with the cause when it cannot be read truthfully. */
export async function judgeExr(source: ByteSource): Promise<FormatFacts> {
  const header = await readExrHeader(source);
  const { shown, data, parts, chromaticities } = header;
  const picture = pictureChannels(header.channels);
  const toSrgb = picture.colours.length === 3 && chromaticities ? chromaticityMatrix(chromaticities) : undefined;
  const notes: string[] = [];
  if (parts > 1) notes.push(`The file has ${parts} parts; the first one is used.`);
  if (picture.layer !== '') notes.push(`The layer ${picture.layer} is used.`);
  const cropped = (['left', 'top', 'right', 'bottom'] as const).some((side) => data[side] !== shown[side]);
  if (cropped) notes.push('Only what lies within the display window is used.');
  if (picture.alpha !== undefined)
    notes.push('Colours are divided by the alpha channel that they are multiplied with.');
  const types = new Set(picture.colours.map((index) => header.channels[index]!.type));
  return {
    storedWidthPx: shown.right - shown.left + 1,
    storedHeightPx: shown.bottom - shown.top + 1,
    channels: picture.colours.length === 3 ? 3 : 1,
    alpha: picture.alpha === undefined ? 'none' : 'premultiplied',
    bitsPerSample: types.has('float') || types.has('uint') ? 32 : 16,
    samples: 'float',
    orientation: 1,
    icc: undefined,
    declared: undefined,
    linear: 'unless-told',
    notes,
    ...(toSrgb === undefined ? {} : { toSrgb }),
  };
}

/** Indices of the channels that make the picture: R, G, B or Y, of the file or of its first layer that has them. */
export function pictureChannels(channels: readonly ExrChannel[]): {
  readonly colours: readonly number[];
  readonly alpha: number | undefined;
  readonly layer: string;
} {
  const names = channels.map(({ name }) => name);
  const layers = new Set(['', ...names.filter((name) => name.includes('.')).map((name) => name.replace(/[^.]*$/, ''))]);
  for (const layer of layers) {
    const at = (name: string): number => names.indexOf(`${layer}${name}`);
    if (at('RY') >= 0 || at('BY') >= 0) throw new Error('its colours are luminance and chroma, not RGB or grey');
    const alpha = at('A') >= 0 ? at('A') : undefined;
    const rgb = ['R', 'G', 'B'].map(at);
    if (rgb.every((index) => index >= 0)) return { colours: rgb, alpha, layer: layer.slice(0, -1) };
    if (at('Y') >= 0) return { colours: [at('Y')], alpha, layer: layer.slice(0, -1) };
  }
  throw new Error(`its channels are ${names.slice(0, 8).join(', ')}, not RGB or grey`);
}

/**
 * Reads the header of the first part. "OpenEXR File Layout" (Academy Software Foundation). Throws a plain `Error` that
 * says what is wrong: damage, deep data, channels of lower resolution, compression that is not read.
 */
export async function readExrHeader(source: ByteSource): Promise<ExrHeader> {
  const head = await source.read(0, Math.min(source.sizeBytes, MOST_HEAD_BYTES));
  const version = head.length >= 8 ? head.readUInt32LE(4) : 0;
  if ((version & 0xff) !== 2) throw new Error(`it is OpenEXR of version ${version & 0xff}; version 2 is read`);
  if ((version & 0x800) !== 0) throw new Error('it holds deep data, several samples a pixel');
  const cursor = { at: 8 };
  const first = readAttributes(head, cursor);
  let parts = 1;
  if ((version & 0x1000) !== 0) {
    while (head[cursor.at] !== 0) {
      if (++parts > MOST_PARTS) throw new Error(`it has more than ${MOST_PARTS} parts`);
      readAttributes(head, cursor);
    }
    cursor.at++;
  }
  const type = first.get('type')?.toString('latin1').replace(/\0.*$/s, '');
  if (type?.startsWith('deep')) throw new Error('it holds deep data, several samples a pixel');
  const isTiled = type === undefined ? (version & 0x200) !== 0 : type === 'tiledimage';
  const data = boxOf(first, 'dataWindow');
  const display = boxOf(first, 'displayWindow');
  const chromaticities = first.get('chromaticities');
  return {
    parts,
    multiPart: (version & 0x1000) !== 0,
    compression: compressionOf(first),
    channels: channelsOf(needed(first, 'channels', 1)),
    data,
    shown: shared(data, display),
    tile: isTiled ? tileOf(needed(first, 'tiles', 9)) : undefined,
    chromaticities:
      chromaticities && chromaticities.length >= 32
        ? Array.from({ length: 8 }, (_, i) => chromaticities.readFloatLE(i * 4))
        : undefined,
    tableOffset: cursor.at,
  };
}

/** Name, type and size of an attribute, then its value; a header ends with an empty name. */
function readAttributes(head: Buffer, cursor: { at: number }): Map<string, Buffer> {
  const attributes = new Map<string, Buffer>();
  for (;;) {
    const name = readName(head, cursor);
    if (name === '') return attributes;
    readName(head, cursor);
    if (cursor.at + 4 > head.length) throw new Error('its header is cut short');
    const size = head.readInt32LE(cursor.at);
    cursor.at += 4;
    if (size < 0 || cursor.at + size > head.length) throw new Error(`its attribute ${name} announces ${size} bytes`);
    attributes.set(name, head.subarray(cursor.at, cursor.at + size));
    cursor.at += size;
  }
}

function readName(bytes: Buffer, cursor: { at: number }): string {
  const end = bytes.indexOf(0, cursor.at);
  if (end < 0 || end - cursor.at > 255) throw new Error('its header is damaged');
  const name = bytes.toString('latin1', cursor.at, end);
  cursor.at = end + 1;
  return name;
}

function needed(attributes: ReadonlyMap<string, Buffer>, name: string, least: number): Buffer {
  const value = attributes.get(name);
  if (value === undefined || value.length < least) throw new Error(`its header has no usable ${name}`);
  return value;
}

function boxOf(attributes: ReadonlyMap<string, Buffer>, name: string): Box {
  const value = needed(attributes, name, 16);
  const [left, top, right, bottom] = [0, 4, 8, 12].map((at) => value.readInt32LE(at)) as [
    number,
    number,
    number,
    number,
  ];
  const far = [left, top, right, bottom].some((side) => Math.abs(side) > FARTHEST);
  if (far || right < left || bottom < top) throw new Error(`its ${name} is ${left}, ${top} to ${right}, ${bottom}`);
  return { left, top, right, bottom };
}

function shared(a: Box, b: Box): Box {
  const box = {
    left: Math.max(a.left, b.left),
    top: Math.max(a.top, b.top),
    right: Math.min(a.right, b.right),
    bottom: Math.min(a.bottom, b.bottom),
  };
  if (box.right < box.left || box.bottom < box.top) throw new Error('none of its data lies within its display window');
  return box;
}

function compressionOf(attributes: ReadonlyMap<string, Buffer>): ExrCompression {
  const number = needed(attributes, 'compression', 1)[0]!;
  const compression = EXR_COMPRESSION[number];
  if (compression === undefined) throw new Error(`its compression is of kind ${number}`);
  if (compression.startsWith('DWA'))
    throw new Error(`it is compressed with loss (${compression}); use ZIP, PIZ or none`);
  return compression;
}

function tileOf(value: Buffer): readonly [number, number] {
  const size = [value.readUInt32LE(0), value.readUInt32LE(4)] as const;
  if (size.some((side) => side < 1 || side > FARTHEST)) throw new Error(`its tiles are ${size[0]} x ${size[1]}`);
  return size;
}

function channelsOf(list: Buffer): ExrChannel[] {
  const channels: ExrChannel[] = [];
  const cursor = { at: 0 };
  for (;;) {
    const name = readName(list, cursor);
    if (name === '') break;
    if (cursor.at + 16 > list.length) throw new Error('its list of channels is cut short');
    const type = (['uint', 'half', 'float'] as const)[list.readInt32LE(cursor.at)];
    if (type === undefined) throw new Error(`its channel ${name} has samples of an unknown kind`);
    const steps = [list.readInt32LE(cursor.at + 8), list.readInt32LE(cursor.at + 12)];
    if (/(^|\.)(RY|BY)$/.test(name)) throw new Error('its colours are luminance and chroma, not RGB or grey');
    if (steps[0] !== 1 || steps[1] !== 1)
      throw new Error(`its channel ${name} has a lower resolution than the picture`);
    channels.push({ name, type, perceptual: list[cursor.at + 4] === 1 });
    cursor.at += 16;
    if (channels.length > 1024) throw new Error('it has more than 1024 channels');
  }
  if (channels.length === 0) throw new Error('it has no channels');
  return channels;
}
