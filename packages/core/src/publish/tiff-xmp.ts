import { constants } from 'node:fs';
import { copyFile, type FileHandle, open } from 'node:fs/promises';
import { InputError } from '../job/errors.js';

/** The tag of an XMP packet. */
const XMP_TAG = 700;
/** Its type: bytes. */
const BYTE_TYPE = 1;
/** More entries than any directory of a picture has. */
const MOST_ENTRIES = 4096;

/**
 * Copies a little-endian TIFF or BigTIFF and gives its first picture an XMP packet, in place of one that it may have. The
 * first directory is written anew at the end, its entries and what follows it (further pictures, smaller ones under it)
 * unchanged; of what was there before only the header's pointer to it changes. XMP specification part 3, TIFF.
 *
 * @throws InputError PLATE_UNREADABLE when the file is no such TIFF, or a classic one with no room left
 */
export async function copyTiffWithXmp(from: string, to: string, xmp: string): Promise<void> {
  await copyFile(from, to, constants.COPYFILE_EXCL | constants.COPYFILE_FICLONE);
  const file = await open(to, 'r+');
  try {
    const big = await isBig(file, from);
    const words = wordsOf(big);
    const header = await readAt(file, 0, big ? 16 : 8, from);
    const directory = await readDirectory(file, words, words.read(header, big ? 8 : 4), from);
    const packet = Buffer.from(xmp, 'utf8');
    const end = (await file.stat()).size;
    const packetAt = end + (-end & 7);
    const directoryAt = packetAt + packet.length + (-packet.length & 7);
    const made = withEntry(directory, words, packet.length, packetAt);
    const last = directoryAt + made.length;
    if (!big && last >= 2 ** 32)
      throw unreadable(from, 'it is a classic TIFF of 4 GiB, which has no room for a packet');
    const tail = Buffer.alloc(last - end);
    packet.copy(tail, packetAt - end);
    made.copy(tail, directoryAt - end);
    await file.write(tail, 0, tail.length, end);
    // Last of all: until then the file is the one that it was.
    words.write(header, big ? 8 : 4, directoryAt);
    await file.write(header, 0, header.length, 0);
    await file.sync();
  } finally {
    await file.close();
  }
}

/** How wide a file's offsets and counts are, and how they are read. */
interface Words {
  readonly bytes: 4 | 8;
  /** Of the number of entries. */
  readonly countBytes: 2 | 8;
  readonly entryBytes: 12 | 20;
  read(from: Buffer, at: number): number;
  write(to: Buffer, at: number, value: number): void;
}

function wordsOf(big: boolean): Words {
  if (!big) {
    return {
      bytes: 4,
      countBytes: 2,
      entryBytes: 12,
      read: (from, at) => from.readUInt32LE(at),
      write: (to, at, value) => void to.writeUInt32LE(value, at),
    };
  }
  return {
    bytes: 8,
    countBytes: 8,
    entryBytes: 20,
    read: (from, at) => Number(from.readBigUInt64LE(at)),
    write: (to, at, value) => void to.writeBigUInt64LE(BigInt(value), at),
  };
}

interface Directory {
  /** Each as it stands in the file, in the order of tags. */
  readonly entries: readonly Buffer[];
  /** The pointer to the next one. */
  readonly next: Buffer;
}

async function isBig(file: FileHandle, path: string): Promise<boolean> {
  const start = await readAt(file, 0, 8, path);
  const mark = start.toString('latin1', 0, 2);
  const version = start.readUInt16LE(2);
  if (mark === 'II' && version === 42) return false;
  if (mark === 'II' && version === 43 && start.readUInt16LE(4) === 8) return true;
  throw unreadable(path, 'it is no little-endian TIFF');
}

async function readDirectory(file: FileHandle, words: Words, at: number, path: string): Promise<Directory> {
  const { bytes, countBytes, entryBytes } = words;
  const head = await readAt(file, at, countBytes, path);
  const count = countBytes === 2 ? head.readUInt16LE(0) : words.read(head, 0);
  if (count === 0 || count > MOST_ENTRIES) throw unreadable(path, `its first directory has ${count} entries`);
  const body = await readAt(file, at + countBytes, count * entryBytes + bytes, path);
  const entries = Array.from({ length: count }, (_, i) => body.subarray(i * entryBytes, (i + 1) * entryBytes));
  return { entries, next: body.subarray(count * entryBytes) };
}

/** The directory with an entry for the packet, in the order of tags, as it is to be written. */
function withEntry({ entries, next }: Directory, words: Words, bytes: number, at: number): Buffer {
  const entry = Buffer.alloc(words.entryBytes);
  entry.writeUInt16LE(XMP_TAG, 0);
  entry.writeUInt16LE(BYTE_TYPE, 2);
  words.write(entry, 4, bytes);
  words.write(entry, 4 + words.bytes, at);
  const tagOf = (one: Buffer): number => one.readUInt16LE(0);
  const all = [...entries.filter((one) => tagOf(one) !== XMP_TAG), entry].sort((a, b) => tagOf(a) - tagOf(b));
  const count = Buffer.alloc(words.countBytes);
  count.writeUInt16LE(all.length, 0);
  return Buffer.concat([count, ...all, next]);
}

async function readAt(file: FileHandle, at: number, length: number, path: string): Promise<Buffer> {
  const { buffer, bytesRead } = await file.read(Buffer.alloc(length), 0, length, at);
  if (bytesRead < length) throw unreadable(path, 'it ends too early');
  return buffer;
}

function unreadable(path: string, reason: string): InputError {
  return new InputError('PLATE_UNREADABLE', `${path} cannot be given metadata (${reason}). Stitch the plate again.`);
}
