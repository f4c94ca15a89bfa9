/** One directory entry: a tag of TIFF 6.0 or a supplement, its type and its values. */
export interface TiffEntry {
  readonly tag: number;
  readonly type: 'ascii' | 'byte' | 'undefined' | 'short' | 'long' | 'double' | 'offset';
  readonly values: readonly number[] | Buffer;
}

const TYPES = {
  byte: { code: 1, bytes: 1 },
  ascii: { code: 2, bytes: 1 },
  short: { code: 3, bytes: 2 },
  long: { code: 4, bytes: 4 },
  undefined: { code: 7, bytes: 1 },
  double: { code: 12, bytes: 8 },
} as const;

/** Bytes before the first tile. */
export function headerBytes(big: boolean): number {
  return big ? 16 : 8;
}

/** The little-endian header that points to a directory at `directoryOffset`. */
export function tiffHeader(big: boolean, directoryOffset: number): Buffer {
  const out = Buffer.alloc(headerBytes(big));
  out.write('II', 0, 'latin1');
  if (big) {
    out.writeUInt16LE(43, 2);
    out.writeUInt16LE(8, 4);
    out.writeBigUInt64LE(BigInt(directoryOffset), 8);
  } else {
    out.writeUInt16LE(42, 2);
    out.writeUInt32LE(directoryOffset, 4);
  }
  return out;
}

/**
 * One directory, to be written at `offset` (even), followed by the values that do not fit into it. Entries come in
 * any order; the next directory lies at `nextOffset`, 0 for none. Offsets are 32 bits wide, or 64 in a BigTIFF.
 */
export function tiffDirectory(big: boolean, offset: number, entries: readonly TiffEntry[], nextOffset = 0): Buffer {
  const sorted = [...entries].sort((a, b) => a.tag - b.tag);
  const countBytes = big ? 8 : 2;
  const wordBytes = big ? 8 : 4;
  const entryBytes = 4 + 2 * wordBytes;
  const directory = Buffer.alloc(countBytes + sorted.length * entryBytes + wordBytes);
  writeUnsigned(directory, 0, countBytes, sorted.length);
  writeUnsigned(directory, directory.length - wordBytes, wordBytes, nextOffset);
  const outside: Buffer[] = [directory];
  let end = offset + directory.length;
  sorted.forEach((entry, i) => {
    const at = countBytes + i * entryBytes;
    const { code, bytes } = typeOf(entry.type, big);
    const value = entry.type === 'double' ? doubleBytes(entry.values) : valueBytes(entry.values, bytes);
    writeUnsigned(directory, at, 2, entry.tag);
    writeUnsigned(directory, at + 2, 2, code);
    writeUnsigned(directory, at + 4, wordBytes, entry.values.length);
    if (value.length <= wordBytes) {
      value.copy(directory, at + 4 + wordBytes);
      return;
    }
    writeUnsigned(directory, at + 4 + wordBytes, wordBytes, end);
    const padding = Buffer.alloc(-value.length & 7);
    outside.push(value, padding);
    end += value.length + padding.length;
  });
  return Buffer.concat(outside);
}

function typeOf(type: TiffEntry['type'], big: boolean): { code: number; bytes: number } {
  if (type === 'offset') return big ? { code: 16, bytes: 8 } : { code: 4, bytes: 4 };
  return TYPES[type];
}

function valueBytes(values: readonly number[] | Buffer, bytes: number): Buffer {
  if (Buffer.isBuffer(values)) return values;
  const out = Buffer.alloc(values.length * bytes);
  values.forEach((value, i) => {
    writeUnsigned(out, i * bytes, bytes, value);
  });
  return out;
}

function doubleBytes(values: readonly number[] | Buffer): Buffer {
  const out = Buffer.alloc(values.length * 8);
  values.forEach((value, i) => {
    out.writeDoubleLE(value, i * 8);
  });
  return out;
}

function writeUnsigned(out: Buffer, at: number, bytes: number, value: number): void {
  if (bytes === 8) out.writeBigUInt64LE(BigInt(value), at);
  else out.writeUIntLE(value, at, bytes);
}
