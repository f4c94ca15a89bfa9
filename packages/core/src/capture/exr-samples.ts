import type { ByteSource } from './byte-source.js';
import { type ExrHeader, pictureChannels, readExrHeader } from './exr-header.js';
import { type ExrBlock, ROWS_PER_BLOCK, sampleBytes, unpackBlock } from './exr-unpack.js';
import type { StoredPlanes } from './linearise.js';

/**
 * Reads the picture of an OpenEXR file's first part: R, G, B or Y, then alpha, in the part of the data window that lies in
 * the display window. Whole numbers come as shares of the largest. Throws a plain `Error` when a block is missing or
 * damaged; memory for the picture is taken only once the first block has been read.
 */
export async function readExr(source: ByteSource): Promise<StoredPlanes> {
  const header = await readExrHeader(source);
  const { colours, alpha } = pictureChannels(header.channels);
  const wanted = alpha === undefined ? colours : [...colours, alpha];
  const blocks = blocksOf(header);
  const offsets = await source.read(header.tableOffset, blocks.length * 8);
  const pixels = (header.shown.right - header.shown.left + 1) * (header.shown.bottom - header.shown.top + 1);
  let planes: Float32Array[] | undefined;
  for (const [index, block] of blocks.entries()) {
    const offset = Number(offsets.readBigUInt64LE(index * 8));
    const packed = await readPacked(source, header, offset, block);
    const raw = unpackBlock(header.compression, packed, block);
    planes ??= wanted.map(() => new Float32Array(pixels));
    wanted.forEach((channel, i) => {
      copyShown(raw, block, channel, header, planes![i]!);
    });
  }
  return { planes: planes! };
}

/** A block with the place of its first sample, in the data window's pixels, and what its head must repeat. */
interface PlacedBlock extends ExrBlock {
  readonly x: number;
  readonly y: number;
  readonly head: readonly number[];
}

/** Blocks in the order of the table: by rows, whatever the order in the file; of tiles, those of full resolution. */
function blocksOf({ data, tile, channels, compression }: ExrHeader): PlacedBlock[] {
  const [stepX, stepY] = tile ?? [data.right - data.left + 1, ROWS_PER_BLOCK[compression]];
  const blocks: PlacedBlock[] = [];
  const across = Math.ceil((data.right - data.left + 1) / stepX);
  const down = Math.ceil((data.bottom - data.top + 1) / stepY);
  if (across * down > MOST_BLOCKS) throw new Error(`it has ${across * down} blocks; at most ${MOST_BLOCKS} are read`);
  for (let row = 0; row < down; row++) {
    for (let column = 0; column < across; column++) {
      const x = data.left + column * stepX;
      const y = data.top + row * stepY;
      const width = Math.min(stepX, data.right - x + 1);
      const height = Math.min(stepY, data.bottom - y + 1);
      blocks.push({ x, y, width, height, channels, head: tile === undefined ? [y] : [column, row, 0, 0] });
    }
  }
  return blocks;
}

const MOST_BLOCKS = 1 << 22;

async function readPacked(source: ByteSource, header: ExrHeader, offset: number, block: PlacedBlock): Promise<Buffer> {
  const numbers = header.multiPart ? [0, ...block.head] : block.head;
  const head = await source.read(offset, numbers.length * 4 + 4);
  if (numbers.some((number, i) => head.readInt32LE(i * 4) !== number)) {
    throw new Error(`its table leads to no block at ${block.x}, ${block.y}`);
  }
  const size = head.readInt32LE(numbers.length * 4);
  if (size <= 0) throw new Error(`a block of it announces ${size} bytes`);
  return source.read(offset + head.length, size);
}

function copyShown(raw: Buffer, block: PlacedBlock, channel: number, header: ExrHeader, plane: Float32Array): void {
  const { shown } = header;
  const { x, y, width, height, channels } = block;
  const rowBytes = raw.length / height;
  const before = channels.slice(0, channel).reduce((sum, each) => sum + sampleBytes(each) * width, 0);
  const bytes = sampleBytes(channels[channel]!);
  const { type } = channels[channel]!;
  const shownWidth = shown.right - shown.left + 1;
  const from = Math.max(x, shown.left);
  const until = Math.min(x + width - 1, shown.right);
  for (let row = Math.max(y, shown.top); row <= Math.min(y + height - 1, shown.bottom); row++) {
    let at = (row - y) * rowBytes + before + (from - x) * bytes;
    for (let column = from, to = (row - shown.top) * shownWidth + from - shown.left; column <= until; column++, to++) {
      if (type === 'half') plane[to] = halfToNumber(raw.readUInt16LE(at));
      else plane[to] = type === 'float' ? raw.readFloatLE(at) : raw.readUInt32LE(at) / 0xffffffff;
      at += bytes;
    }
  }
}

/** IEEE 754 binary16. */
function halfToNumber(half: number): number {
  const sign = half & 0x8000 ? -1 : 1;
  const exponent = (half >> 10) & 0x1f;
  const fraction = half & 0x3ff;
  if (exponent === 0) return sign * fraction * 2 ** -24;
  if (exponent === 31) return fraction === 0 ? sign * Number.POSITIVE_INFINITY : Number.NaN;
  return sign * (1024 + fraction) * 2 ** (exponent - 25);
}
