import { type FileHandle, open } from 'node:fs/promises';
import { writeWhole } from './atomic.js';
import { orderedDeflate } from './ordered-deflate.js';
import type { PlateSource } from './plate-source.js';
import { type LevelBand, type LevelSize, levelsOf, pyramidBands } from './pyramid-bands.js';
import { headerBytes, type TiffEntry, tiffDirectory, tiffHeader } from './tiff-layout.js';

export interface TiledTiffOptions {
  /** An XMP packet for tag 700 of the first page. Default none. */
  readonly xmp?: string;
  /** Further entries of the first page. Default none. */
  readonly extra?: readonly TiffEntry[];
  /** Replace an existing file. Default false. */
  readonly force?: boolean;
  /** Write a BigTIFF even where a classic TIFF would do. Default false: only when the samples could exceed 4 GiB. */
  readonly bigtiff?: boolean;
  /** Write the halves too. Default true; without them the file is one page. */
  readonly pyramid?: boolean;
  readonly signal?: AbortSignal;
}

/** Facts of a file that was written. */
export interface TiledTiffResult {
  /** Size of the file. */
  readonly bytes: number;
  readonly bigtiff: boolean;
  /** Pages: the plate and, with a pyramid, its halves, down to the one that fits into a tile. */
  readonly levels: number;
}

/** What the samples of a file are. */
export interface TileFormat {
  /** Bytes of a pixel with all its samples. */
  readonly pixelBytes: number;
  /** Entries that tell the samples, in every page. */
  readonly entries: readonly TiffEntry[];
  /** A tile of {@link TILE_PX} squared as it is to be compressed; what lies beyond the band is 0. */
  encode(band: LevelBand, left: number): Buffer;
}

/** Side of a tile. */
export const TILE_PX = 256;
/** A classic TIFF's offsets end here. */
const CLASSIC_BYTES = 2 ** 32;

/**
 * Writes a plate and its pyramid as a tiled TIFF, deflate: TIFF 6.0 and its supplement 2. The halves are pages of their
 * own after the first one, marked as reduced (NewSubfileType 1), as a Cloud Optimized GeoTIFF has them (OGC 21-026): there
 * GDAL, libvips, geotiff.js and tifffile look for a pyramid of their own accord, while SubIFDs have to be asked for. All
 * directories lie before the first tile, so that a reader finds them with one look. Reads the plate once, in bands of a
 * tile's height. The file appears whole or not at all, and the same pixels give the same bytes. Throws what
 * {@link writeWhole} throws, and `InterruptedError` on abort.
 */
export async function writeTiledTiff(
  path: string,
  source: PlateSource,
  format: TileFormat,
  options: TiledTiffOptions = {},
): Promise<TiledTiffResult> {
  const { width, height } = source;
  const sizes = options.pyramid === false ? [{ width, height }] : levelsOf(source, TILE_PX);
  const bigtiff = options.bigtiff === true || couldExceedClassic(sizes, format, options.xmp);
  let bytes = 0;
  await writeWhole(
    path,
    async (temporary) => {
      const file = await open(temporary, 'wx');
      try {
        bytes = await writePages(file, source, sizes, format, bigtiff, options);
      } finally {
        await file.close();
      }
    },
    { force: options.force ?? false },
  );
  return { bytes, bigtiff, levels: sizes.length };
}

/** Where the tiles of a level lie. */
interface Tiles {
  readonly offsets: number[];
  readonly lengths: number[];
}

/** Deflate can grow data that does not compress by 5 bytes in 16 KiB; a share of 1/1024 covers that and the tables. */
function couldExceedClassic(sizes: readonly LevelSize[], { pixelBytes }: TileFormat, xmp = ''): boolean {
  const tiles = sizes.reduce((sum, size) => sum + tileCount(size), 0);
  return tiles * TILE_PX * TILE_PX * pixelBytes * (1 + 1 / 1024) + Buffer.byteLength(xmp) + 1048576 > CLASSIC_BYTES;
}

function tileCount({ width, height }: LevelSize): number {
  return Math.ceil(width / TILE_PX) * Math.ceil(height / TILE_PX);
}

async function writePages(
  file: FileHandle,
  source: PlateSource,
  sizes: readonly LevelSize[],
  format: TileFormat,
  big: boolean,
  { xmp, extra = [], signal }: TiledTiffOptions,
): Promise<number> {
  const tiles: Tiles[] = sizes.map(() => ({ offsets: [], lengths: [] }));
  // Directories are as long with the places of the tiles as without, so their room is known before there are any.
  const empty = sizes.map((size) => ({
    offsets: Array.from({ length: tileCount(size) }, () => 0),
    lengths: Array.from({ length: tileCount(size) }, () => 0),
  }));
  let end = directoriesOf(big, sizes, empty, format, xmp, extra).length;
  const queue = orderedDeflate<Tiles>(async (tile, { offsets, lengths }) => {
    await file.write(tile, 0, tile.length, end);
    offsets.push(end);
    lengths.push(tile.length);
    end += tile.length + (tile.length & 1);
  }, signal);
  for (const band of pyramidBands(source, sizes, TILE_PX)) {
    for (let left = 0; left < band.image.width; left += TILE_PX) {
      await queue.push(format.encode(band, left), tiles[band.level]!);
    }
  }
  await queue.finish();
  const directories = directoriesOf(big, sizes, tiles, format, xmp, extra);
  await file.write(directories, 0, directories.length, 0);
  await file.truncate(end);
  return end;
}

/** Header and all directories, one behind the other. */
function directoriesOf(
  big: boolean,
  sizes: readonly LevelSize[],
  tiles: readonly Tiles[],
  format: TileFormat,
  xmp: string | undefined,
  extra: readonly TiffEntry[],
): Buffer {
  const first = headerBytes(big);
  const parts = [tiffHeader(big, first)];
  let at = first;
  sizes.forEach((size, level) => {
    const entries = [...pageEntries(size, level, tiles[level]!), ...format.entries];
    if (xmp !== undefined && level === 0) entries.push({ tag: 700, type: 'byte', values: Buffer.from(xmp, 'utf8') });
    if (level === 0) entries.push(...extra);
    const length = tiffDirectory(big, at, entries).length;
    const next = at + length + (-length & 7);
    parts.push(tiffDirectory(big, at, entries, level + 1 < sizes.length ? next : 0), Buffer.alloc(-length & 7));
    at = next;
  });
  return Buffer.concat(parts);
}

function pageEntries({ width, height }: LevelSize, level: number, { offsets, lengths }: Tiles): TiffEntry[] {
  return [
    { tag: 254, type: 'long', values: [level === 0 ? 0 : 1] }, // NewSubfileType: a reduced picture
    { tag: 256, type: 'long', values: [width] },
    { tag: 257, type: 'long', values: [height] },
    { tag: 259, type: 'short', values: [8] }, // Compression: deflate
    { tag: 274, type: 'short', values: [1] }, // Orientation: upright
    { tag: 284, type: 'short', values: [1] }, // PlanarConfiguration: chunky
    { tag: 322, type: 'long', values: [TILE_PX] },
    { tag: 323, type: 'long', values: [TILE_PX] },
    { tag: 324, type: 'offset', values: offsets },
    { tag: 325, type: 'long', values: lengths },
  ];
}
