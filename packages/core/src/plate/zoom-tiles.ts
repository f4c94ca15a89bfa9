import { createHash } from 'node:crypto';
import { mkdir, writeFile } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import { pictures } from '../capture/picture-library.js';
import { throwIfAborted } from '../job/errors.js';
import { writeFolderWhole, writeWhole } from './atomic.js';
import { encode16 } from './encode.js';
import type { HashedFile } from './hashed-file.js';
import type { PlateSource } from './plate-source.js';
import { type LevelBand, levelsOf, pyramidBands } from './pyramid-bands.js';

export interface ZoomTilesOptions {
  /** JPEG quality, 1 to 100. Default 90. */
  readonly quality?: number;
  /** Replace what is there. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal;
}

/** What was written. */
export interface ZoomTilesResult {
  /** Levels, down to a single pixel. */
  readonly levels: number;
  /** Every tile, its name beginning with the folder's, sorted by level, row and column. */
  readonly tiles: readonly HashedFile[];
}

/** Default settings of {@link writeZoomTiles}. */
export const ZOOM_DEFAULTS: { readonly quality: number } = { quality: 90 };

/** Side of a tile without what it shares with its neighbours. */
const SIDE_PX = 254;
/** What a tile shows of each neighbour, so that viewers draw no seams between them. */
const OVERLAP_PX = 1;
/** Tiles that are encoded beside each other; a fixed figure, so that memory is bounded. */
const AT_ONCE = 8;

/**
 * Writes tiles for a viewer that zooms, in the Deep Zoom layout: `path` (NAME.dzi) describes them, `NAME_files/LEVEL/X_Y.jpg`
 * are they, 254 px and one of each neighbour. 8-bit sRGB on black, in the plate's own light, without a profile, which on
 * the web means sRGB. Reads the plate once, in bands. Folder and description appear whole or not at all, the description
 * last. Throws what {@link writeWhole} throws, and `InterruptedError` on abort.
 */
export async function writeZoomTiles(
  path: string,
  source: PlateSource,
  options: ZoomTilesOptions = {},
): Promise<ZoomTilesResult> {
  const { force = false, quality = ZOOM_DEFAULTS.quality, signal } = options;
  const folder = zoomFolder(path);
  const sizes = levelsOf(source, 1);
  const tiles: HashedFile[] = [];
  await writeFolderWhole(
    folder,
    async (temporary) => {
      const levels = sizes.map((size, k) => createLevel(size.width, size.height, sizes.length - 1 - k));
      for (const { name } of levels) await mkdir(join(temporary, String(name)));
      const waiting: Promise<HashedFile>[] = [];
      for (const band of pyramidBands(source, sizes, SIDE_PX)) {
        for (const tile of levels[band.level]!.take(band)) {
          throwIfAborted(signal);
          if (waiting.length >= AT_ONCE) tiles.push(await waiting.shift()!);
          const made = writeTile(temporary, basename(folder), tile, quality);
          made.catch(() => undefined);
          waiting.push(made);
        }
      }
      tiles.push(...(await Promise.all(waiting)));
    },
    { force },
  );
  await writeWhole(path, (temporary) => writeFile(temporary, describe(source), { flag: 'wx' }), { force });
  return { levels: sizes.length, tiles };
}

/** The folder of the tiles that a description speaks of. */
export function zoomFolder(path: string): string {
  return `${path.slice(0, path.length - extname(path).length)}_files`;
}

interface Tile {
  /** LEVEL/X_Y.jpg */
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly pixels: Uint8Array;
}

interface Level {
  readonly name: number;
  /** Takes the next rows, and gives the tiles that they complete. */
  take(band: LevelBand): Generator<Tile>;
}

/** Keeps the rows that tiles still need, as 8-bit RGB. */
function createLevel(width: number, height: number, name: number): Level {
  let rows: Uint8Array[] = [];
  let firstRow = 0;
  let next = 0;
  return {
    name,
    *take(band) {
      rows.push(...rowsOf(band));
      for (;;) {
        const top = Math.max(0, next * SIDE_PX - OVERLAP_PX);
        const bottom = Math.min(height, (next + 1) * SIDE_PX + OVERLAP_PX);
        if (next * SIDE_PX >= height || firstRow + rows.length < bottom) return;
        rows = rows.slice(top - firstRow);
        firstRow = top;
        for (let x = 0; x * SIDE_PX < width; x++) {
          const left = Math.max(0, x * SIDE_PX - OVERLAP_PX);
          const right = Math.min(width, (x + 1) * SIDE_PX + OVERLAP_PX);
          const pixels = new Uint8Array((right - left) * (bottom - top) * 3);
          for (let y = 0; y < bottom - top; y++) {
            pixels.set(rows[y]!.subarray(3 * left, 3 * right), y * (right - left) * 3);
          }
          yield { name: `${name}/${x}_${next}.jpg`, width: right - left, height: bottom - top, pixels };
        }
        next++;
      }
    },
  };
}

function rowsOf({ image, coverage }: LevelBand): Uint8Array[] {
  const { width, height, planes } = image;
  const codes = new Uint16Array(3 * width);
  const light = new Float32Array(width);
  return Array.from({ length: height }, (_, y) => {
    for (let c = 0; c < 3; c++) {
      const plane = planes[planes.length === 1 ? 0 : c]!;
      for (let x = 0, i = y * width; x < width; x++, i++) light[x] = plane[i]! * coverage.data[i]!;
      encode16('srgb', codes, c, 3, light, 0, width, { low: 0, high: 0 });
    }
    const row = new Uint8Array(codes.length);
    // The nearest of 255 to each of 65535.
    for (let i = 0; i < row.length; i++) row[i] = (codes[i]! * 255 + 32895) >>> 16;
    return row;
  });
}

async function writeTile(temporary: string, folder: string, tile: Tile, quality: number): Promise<HashedFile> {
  const { width, height, pixels, name } = tile;
  const jpeg = await pictures(pixels, { raw: { width, height, channels: 3 } })
    .jpeg({ quality })
    .toBuffer();
  await writeFile(join(temporary, name), jpeg);
  return { file: `${folder}/${name}`, sha256: createHash('sha256').update(jpeg).digest('hex') };
}

function describe({ width, height }: PlateSource): string {
  return [
    '<?xml version="1.0" encoding="UTF-8"?>',
    `<Image xmlns="http://schemas.microsoft.com/deepzoom/2008" Format="jpg" Overlap="${OVERLAP_PX}" TileSize="${SIDE_PX}">`,
    `  <Size Width="${width}" Height="${height}"/>`,
    '</Image>',
    '',
  ].join('\n');
}
