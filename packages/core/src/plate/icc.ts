import type { Matrix } from '../capture/colour-matrix.js';
import { BT709_ALPHA, BT709_BETA, decodeSrgb } from '../capture/curves.js';
import { BT1886_GAMMA, type CodeCurve } from './encode.js';

/** Entries of the tone table: as many as profiles of this kind usually carry. */
const CURVE_ENTRIES = 1024;

/** The media white of the profile connection space, D50. ICC.1:2001-04, 6.1.5.7. */
const D50: readonly number[] = [0.9642, 1, 0.8249];

/** sRGB's primaries, adapted to D50 by the linear Bradford transform; each column X, Y, Z. They add up to D50. */
const PRIMARIES: readonly (readonly [string, readonly number[]])[] = [
  ['rXYZ', [0.43607, 0.22249, 0.01392]],
  ['gXYZ', [0.38515, 0.71687, 0.09708]],
  ['bXYZ', [0.14298, 0.06064, 0.7139]],
];

const HEADER_BYTES = 128;
const COPYRIGHT = 'No copyright, use freely';

/**
 * An ICC profile of version 2 for IEC 61966-2-1 sRGB, made from the standards' figures: matrix and tone table, about
 * 2.5 kB. The same bytes every time. ICC.1:2001-04.
 */
export function srgbProfile(): Buffer {
  const curve = toneTable();
  return assemble(0x02400000, [
    ['desc', description('sRGB IEC61966-2-1')],
    ['cprt', typed('text', Buffer.from(`${COPYRIGHT}\0`, 'latin1'))],
    ['wtpt', xyz(D50)],
    ...PRIMARIES.map(([tag, values]): [string, Buffer] => [tag, xyz(values)]),
    ['rTRC', curve],
    ['gTRC', curve],
    ['bTRC', curve],
  ]);
}

/**
 * An ICC profile of version 4 with a matrix and an exact curve. `toPcs` takes linear RGB to XYZ under D50, row by row;
 * `adapt` is the part of it that brought the white there. The same bytes every time. ICC.1:2022.
 */
export function displayProfile(name: string, curve: CodeCurve, toPcs: Matrix, adapt: Matrix): Buffer {
  const tone = typed('para', parametric(curve));
  return assemble(0x04400000, [
    ['desc', localised(name)],
    ['cprt', localised(COPYRIGHT)],
    ['wtpt', xyz(D50)],
    ['chad', typed('sf32', fixedList(adapt))],
    ...['rXYZ', 'gXYZ', 'bXYZ'].map((tag, c): [string, Buffer] => [
      tag,
      xyz([toPcs[c]!, toPcs[c + 3]!, toPcs[c + 6]!]),
    ]),
    ['rTRC', tone],
    ['gTRC', tone],
    ['bTRC', tone],
  ]);
}

/** Header, tag table and data; equal blocks are put in once. */
function assemble(version: number, blocks: readonly (readonly [string, Buffer])[]): Buffer {
  const tableBytes = 4 + blocks.length * 12;
  const table = Buffer.alloc(tableBytes);
  table.writeUInt32BE(blocks.length, 0);
  const places = new Map<Buffer, number>();
  const data: Buffer[] = [];
  let end = HEADER_BYTES + tableBytes;
  blocks.forEach(([tag, block], i) => {
    if (!places.has(block)) {
      places.set(block, end);
      data.push(block, Buffer.alloc(-block.length & 3));
      end += block.length + (-block.length & 3);
    }
    table.write(tag, 4 + i * 12, 'latin1');
    table.writeUInt32BE(places.get(block)!, 8 + i * 12);
    table.writeUInt32BE(block.length, 12 + i * 12);
  });
  return Buffer.concat([header(end, version), table, ...data]);
}

/**
 * Puts a profile into a JPEG that has none, as APP2 segments after the JFIF header; pixels are not touched.
 * ICC.1:2001-04, annex B.4.
 */
export function embedProfileInJpeg(jpeg: Buffer, profile: Buffer): Buffer {
  const marker = Buffer.from('ICC_PROFILE\0', 'latin1');
  const most = 65533 - marker.length - 2;
  const count = Math.ceil(profile.length / most);
  const segments = Array.from({ length: count }, (_, i) => {
    const part = profile.subarray(i * most, (i + 1) * most);
    const head = Buffer.from([0xff, 0xe2, 0, 0]);
    head.writeUInt16BE(2 + marker.length + 2 + part.length, 2);
    return Buffer.concat([head, marker, Buffer.from([i + 1, count]), part]);
  });
  const hasJfif = jpeg[2] === 0xff && jpeg[3] === 0xe0;
  const at = hasJfif ? 4 + jpeg.readUInt16BE(4) : 2;
  return Buffer.concat([jpeg.subarray(0, at), ...segments, jpeg.subarray(at)]);
}

function header(sizeBytes: number, version: number): Buffer {
  const out = Buffer.alloc(HEADER_BYTES);
  out.writeUInt32BE(sizeBytes, 0);
  out.writeUInt32BE(version, 8);
  out.write('mntrRGB XYZ ', 12, 'latin1');
  // A fixed date, so that the bytes never change: 2020-01-01.
  [2020, 1, 1, 0, 0, 0].forEach((value, i) => {
    out.writeUInt16BE(value, 24 + i * 2);
  });
  out.write('acsp', 36, 'latin1');
  D50.forEach((value, i) => {
    out.writeInt32BE(fixed(value), 68 + i * 4);
  });
  return out;
}

function toneTable(): Buffer {
  const body = Buffer.alloc(4 + CURVE_ENTRIES * 2);
  body.writeUInt32BE(CURVE_ENTRIES, 0);
  for (let i = 0; i < CURVE_ENTRIES; i++) {
    body.writeUInt16BE(Math.round(65535 * decodeSrgb(i / (CURVE_ENTRIES - 1))), 4 + i * 2);
  }
  return typed('curv', body);
}

/** textDescriptionType: the ASCII name, then empty Unicode and Macintosh names. */
function description(name: string): Buffer {
  const ascii = Buffer.from(`${name}\0`, 'latin1');
  const length = Buffer.alloc(4);
  length.writeUInt32BE(ascii.length, 0);
  return typed('desc', Buffer.concat([length, ascii, Buffer.alloc(4 + 4 + 2 + 1 + 67)]));
}

/** multiLocalizedUnicodeType with one text, in English. */
function localised(text: string): Buffer {
  const words = Buffer.from(text, 'utf16le').swap16();
  const head = Buffer.alloc(20);
  head.writeUInt32BE(1, 0);
  head.writeUInt32BE(12, 4);
  head.write('enUS', 8, 'latin1');
  head.writeUInt32BE(words.length, 12);
  head.writeUInt32BE(28, 16);
  return typed('mluc', Buffer.concat([head, words]));
}

/** parametricCurveType: the function 0, x^g, or 3, which is linear below d. ICC.1:2022, table 68. */
function parametric(curve: CodeCurve): Buffer {
  const [type, values] = {
    linear: [0, [1]] as const,
    bt1886: [0, [BT1886_GAMMA]] as const,
    srgb: [3, [2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]] as const,
    bt709: [3, [1 / 0.45, 1 / BT709_ALPHA, 1 - 1 / BT709_ALPHA, 1 / 4.5, 4.5 * BT709_BETA]] as const,
  }[curve];
  const head = Buffer.alloc(4);
  head.writeUInt16BE(type, 0);
  return Buffer.concat([head, fixedList(values)]);
}

function xyz(values: readonly number[]): Buffer {
  return typed('XYZ ', fixedList(values));
}

function fixedList(values: readonly number[]): Buffer {
  const body = Buffer.alloc(values.length * 4);
  values.forEach((value, i) => {
    body.writeInt32BE(fixed(value), i * 4);
  });
  return body;
}

function typed(type: string, body: Buffer): Buffer {
  return Buffer.concat([Buffer.from(type, 'latin1'), Buffer.alloc(4), body]);
}

/** s15Fixed16Number. */
function fixed(value: number): number {
  return Math.round(value * 65536);
}
