import { decodeSrgb } from '../capture/curves.js';

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

const TAG_COUNT = 9;
const HEADER_BYTES = 128;

/**
 * An ICC profile of version 2 for IEC 61966-2-1 sRGB, made from the standards' figures: matrix and tone table, about
 * 2.5 kB. The same bytes every time. ICC.1:2001-04.
 */
export function srgbProfile(): Buffer {
  const curve = toneTable();
  const blocks: [string, Buffer][] = [
    ['desc', description('sRGB IEC61966-2-1')],
    ['cprt', typed('text', Buffer.from('No copyright, use freely\0', 'latin1'))],
    ['wtpt', xyz(D50)],
    ...PRIMARIES.map(([tag, values]): [string, Buffer] => [tag, xyz(values)]),
    ['rTRC', curve],
    ['gTRC', curve],
    ['bTRC', curve],
  ];
  const tableBytes = 4 + TAG_COUNT * 12;
  const table = Buffer.alloc(tableBytes);
  table.writeUInt32BE(TAG_COUNT, 0);
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
  return Buffer.concat([header(end), table, ...data]);
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

function header(sizeBytes: number): Buffer {
  const out = Buffer.alloc(HEADER_BYTES);
  out.writeUInt32BE(sizeBytes, 0);
  out.writeUInt32BE(0x02400000, 8);
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

function xyz(values: readonly number[]): Buffer {
  const body = Buffer.alloc(12);
  values.forEach((value, i) => {
    body.writeInt32BE(fixed(value), i * 4);
  });
  return typed('XYZ ', body);
}

function typed(type: string, body: Buffer): Buffer {
  return Buffer.concat([Buffer.from(type, 'latin1'), Buffer.alloc(4), body]);
}

/** s15Fixed16Number. */
function fixed(value: number): number {
  return Math.round(value * 65536);
}
