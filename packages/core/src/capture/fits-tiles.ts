import { gunzipSync } from 'node:zlib';
import type { ByteSource } from './byte-source.js';
import { textOf, wholeOf } from './fits-cards.js';
import type { FitsImage } from './fits-image.js';
import { decodeRice } from './fits-rice.js';

/** Bytes of an element of a table's column by its letter. FITS 4.0, table 18; P and Q point into the heap. */
const ELEMENT_BYTES: Readonly<Record<string, number>> = {
  L: 1,
  B: 1,
  I: 2,
  J: 4,
  K: 8,
  A: 1,
  E: 4,
  D: 8,
  C: 8,
  M: 16,
  P: 8,
  Q: 16,
};

/**
 * Reads the planes that are used of a tile-compressed picture, to the bytes that an uncompressed one has (FITS 4.0,
 * section 10): RICE_1 for integers, GZIP_1, GZIP_2 and NOCOMPRESS for all. Throws a plain `Error` for other methods,
 * for floats that were made integers first, and for damage; no more memory is taken than the tiles can fill.
 */
export async function readTiles(source: ByteSource, image: FitsImage, usedPlanes: number): Promise<Buffer> {
  const table = tableOf(image);
  const grid = gridOf(image, table.rows);
  const decode = decoderOf(image);
  const rows = await source.read(image.dataOffset, table.rows * table.rowBytes);
  const sampleBytes = Math.abs(image.bitpix) / 8;
  let out: Buffer | undefined;
  for (let z = 0, row = 0; z < usedPlanes; z += grid.tile[2]) {
    for (let y = 0; y < image.heightPx; y += grid.tile[1]) {
      for (let x = 0; x < image.widthPx; x += grid.tile[0], row++) {
        const size = [
          Math.min(grid.tile[0], image.widthPx - x),
          Math.min(grid.tile[1], image.heightPx - y),
          Math.min(grid.tile[2], image.planes - z),
        ] as const;
        const packed = await readCell(source, image, table, rows, row);
        const tile = decode(packed.bytes, size[0] * size[1] * size[2], packed.column);
        // Only once the first tile has been what it should be.
        out ??= Buffer.alloc(image.widthPx * image.heightPx * usedPlanes * sampleBytes);
        place(tile, size, out, [x, y, z], image, usedPlanes);
      }
    }
  }
  return out!;
}

interface Table {
  readonly rows: number;
  readonly rowBytes: number;
  readonly heapOffset: number;
  /** Where in a row the pointers of a column lie, by the column's name, and whether they have 64 bits. */
  readonly columns: ReadonlyMap<string, { readonly at: number; readonly wide: boolean }>;
}

/** Columns that hold tiles, in the order in which they are looked at. */
const TILE_COLUMNS = ['COMPRESSED_DATA', 'GZIP_COMPRESSED_DATA', 'UNCOMPRESSED_DATA'];

function tableOf({ cards, dataOffset }: FitsImage): Table {
  const rows = wholeOf(cards, 'NAXIS2') ?? 0;
  const rowBytes = wholeOf(cards, 'NAXIS1') ?? 0;
  const columns = new Map<string, { at: number; wide: boolean }>();
  let at = 0;
  const count = wholeOf(cards, 'TFIELDS') ?? 0;
  if (count > 999) throw new Error(`its table has ${count} columns`);
  for (let i = 1; i <= count; i++) {
    const form = /^(\d*)([A-Z])/.exec(textOf(cards, `TFORM${i}`));
    const repeat = Number(form?.[1] || 1);
    const letter = form?.[2] ?? '';
    const name = textOf(cards, `TTYPE${i}`);
    if (name === 'ZSCALE') throw new Error('its floats were rounded to integers and compressed, which is not read');
    if ((letter === 'P' || letter === 'Q') && repeat === 1) columns.set(name, { at, wide: letter === 'Q' });
    if (letter === 'X') at += Math.ceil(repeat / 8);
    else at += repeat * (ELEMENT_BYTES[letter] ?? Number.NaN);
  }
  if (at !== rowBytes) throw new Error(`the rows of its table have ${rowBytes} bytes where its columns need ${at}`);
  if (!columns.has('COMPRESSED_DATA')) throw new Error('its table has no column COMPRESSED_DATA');
  return { rows, rowBytes, heapOffset: dataOffset + (wholeOf(cards, 'THEAP') ?? rows * rowBytes), columns };
}

function gridOf(image: FitsImage, rows: number): { readonly tile: readonly [number, number, number] } {
  const { cards, widthPx, heightPx, planes } = image;
  const size = (axis: number, whole: number): number => {
    const value = wholeOf(cards, `ZTILE${axis}`) ?? whole;
    if (value < 1) throw new Error(`its ZTILE${axis} is ${value}`);
    return value;
  };
  const tile = [size(1, widthPx), size(2, 1), size(3, 1)] as const;
  const tiles = Math.ceil(widthPx / tile[0]) * Math.ceil(heightPx / tile[1]) * Math.ceil(planes / tile[2]);
  if (size(4, 1) !== 1 || tiles !== rows) throw new Error(`its table has ${rows} rows for ${tiles} tiles`);
  return { tile };
}

async function readCell(source: ByteSource, image: FitsImage, table: Table, rows: Buffer, row: number) {
  for (const column of TILE_COLUMNS) {
    const place = table.columns.get(column);
    if (place === undefined) continue;
    const at = row * table.rowBytes + place.at;
    const length = place.wide ? Number(rows.readBigUInt64BE(at)) : rows.readUInt32BE(at);
    const from = place.wide ? Number(rows.readBigUInt64BE(at + 8)) : rows.readUInt32BE(at + 4);
    if (length === 0) continue;
    if (table.heapOffset + from + length > image.dataOffset + image.dataBytes) {
      throw new Error(`tile ${row + 1} of it lies outside its table`);
    }
    return { column, bytes: await source.read(table.heapOffset + from, length) };
  }
  throw new Error(`tile ${row + 1} of it holds no data`);
}

type Decoder = (packed: Buffer, count: number, column: string) => Buffer;

function decoderOf({ cards, bitpix }: FitsImage): Decoder {
  const method = textOf(cards, 'ZCMPTYPE');
  const sampleBytes = Math.abs(bitpix) / 8;
  if (!['RICE_1', 'RICE_ONE', 'GZIP_1', 'GZIP_2', 'NOCOMPRESS'].includes(method)) {
    throw new Error(`it is compressed by ${method || 'a method that it does not name'}; RICE_1 and GZIP are read`);
  }
  const rice = method.startsWith('RICE');
  if (rice && bitpix < 0) throw new Error('its floats were rounded to integers and compressed, which is not read');
  return (packed, count, column) => {
    if (column === 'UNCOMPRESSED_DATA' || method === 'NOCOMPRESS') return exact(packed, count * sampleBytes);
    if (rice && column === 'COMPRESSED_DATA') return riceTile(cards, packed, count, sampleBytes);
    const plain = gunzipSync(packed, { maxOutputLength: count * 8 });
    if (method === 'GZIP_2') return unshuffled(exact(plain, count * sampleBytes), sampleBytes);
    return bitpix > 0 ? narrowed(plain, count, sampleBytes) : exact(plain, count * sampleBytes);
  };
}

function exact(bytes: Buffer, length: number): Buffer {
  if (bytes.length !== length) throw new Error(`a tile of it has ${bytes.length} bytes where ${length} are expected`);
  return bytes;
}

function riceTile(cards: FitsImage['cards'], packed: Buffer, count: number, sampleBytes: number): Buffer {
  const parameters = new Map<string, number>();
  for (let i = 1; i <= 2; i++) parameters.set(textOf(cards, `ZNAME${i}`), wholeOf(cards, `ZVAL${i}`) ?? 0);
  const blockPx = parameters.get('BLOCKSIZE') ?? 32;
  const bytePix = parameters.get('BYTEPIX') ?? 4;
  if (blockPx !== 16 && blockPx !== 32) throw new Error(`its BLOCKSIZE is ${blockPx}`);
  if (bytePix !== 1 && bytePix !== 2 && bytePix !== 4) throw new Error(`its BYTEPIX is ${bytePix}`);
  if (sampleBytes > bytePix) throw new Error(`its BYTEPIX ${bytePix} is less than its samples have`);
  const values = decodeRice(packed, count, blockPx, bytePix);
  const out = Buffer.alloc(count * sampleBytes);
  if (sampleBytes === 1) for (let i = 0; i < count; i++) out[i] = values[i]!;
  else if (sampleBytes === 2) for (let i = 0; i < count; i++) out.writeInt16BE((values[i]! << 16) >> 16, i * 2);
  else for (let i = 0; i < count; i++) out.writeInt32BE(values[i]!, i * 4);
  return out;
}

/** Some writers give integers more bytes than their type needs; the low ones count. */
function narrowed(plain: Buffer, count: number, sampleBytes: number): Buffer {
  const width = plain.length / count;
  if (!(width >= sampleBytes && Number.isInteger(width))) return exact(plain, count * sampleBytes);
  const out = Buffer.alloc(count * sampleBytes);
  const skip = width - sampleBytes;
  for (let i = 0, at = 0; i < count; i++) {
    for (let b = 0; b < sampleBytes; b++) out[at++] = plain[i * width + skip + b]!;
  }
  return out;
}

/** GZIP_2 puts the first bytes of all numbers before the second ones, and so on. */
function unshuffled(plain: Buffer, sampleBytes: number): Buffer {
  const count = plain.length / sampleBytes;
  const out = Buffer.alloc(plain.length);
  for (let b = 0; b < sampleBytes; b++) {
    for (let i = 0; i < count; i++) out[i * sampleBytes + b] = plain[b * count + i]!;
  }
  return out;
}

function place(
  tile: Buffer,
  [tileWidth, tileHeight, tilePlanes]: readonly [number, number, number],
  out: Buffer,
  [x, y, z]: readonly [number, number, number],
  { widthPx, heightPx, bitpix }: FitsImage,
  usedPlanes: number,
): void {
  const sampleBytes = Math.abs(bitpix) / 8;
  const rowBytes = tileWidth * sampleBytes;
  for (let k = 0; k < Math.min(tilePlanes, usedPlanes - z); k++) {
    for (let j = 0; j < tileHeight; j++) {
      const from = (k * tileHeight + j) * rowBytes;
      tile.copy(out, (((z + k) * heightPx + y + j) * widthPx + x) * sampleBytes, from, from + rowBytes);
    }
  }
}
