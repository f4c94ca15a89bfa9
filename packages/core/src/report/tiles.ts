import { decodeSrgb } from '../capture/curves.js';
import { pictures } from '../capture/picture-library.js';
import { InternalError, throwIfAborted } from '../job/errors.js';
import { encode16 } from '../plate/encode.js';
import type { PlateSource, PlateWindow } from '../plate/plate-source.js';

/** Settings of {@link makeTiles}. */
export interface TilesOptions {
  /** Most bytes of all tiles together. */
  readonly mostBytes: number;
  readonly signal?: AbortSignal | undefined;
}

/** A plate as JPEG tiles of {@link TILE_PX}, at sizes that are halved from level to level. */
export interface PlateTiles {
  /** Size of the finest level. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** How often the finest level was halved: 0 where it shows the plate's own pixels. */
  readonly halvings: number;
  /** JPEG quality of the finest level. */
  readonly quality: number;
  /** Number of levels; level 0 is a single tile. */
  readonly levels: number;
  /** JPEGs by `level/x/y`; a tile that nothing covers is not there. */
  readonly tiles: ReadonlyMap<string, Buffer>;
}

/** Side of a tile. */
export const TILE_PX = 512;
/** Qualities that the finest level is tried at, best first. */
const QUALITIES = [92, 84, 74, 62] as const;
/** That of all coarser levels. */
const COARSE_QUALITY = 84;
/** JPEGs that are made at once; a fixed figure, so that memory is bounded. */
const AT_ONCE = 4;
/** Grey of what is not covered, sRGB. */
const UNCOVERED: number = decodeSrgb(64 / 255);
const RGB = 3;

/** Light that is multiplied with its coverage, and the coverage. */
interface Cell {
  readonly width: number;
  readonly height: number;
  readonly planes: readonly Float32Array[];
  readonly cover: Float32Array;
}

/**
 * Makes the tiles of a plate in a walk through it, depth first: a tile is made of the four below it, areas averaged in linear
 * light by their coverage, so that no more than a few tiles a level are in memory besides the JPEGs. Codes are those of the
 * master, rounded to 8 bits, without any gain; what is not covered is an even grey. The finest level that fits into
 * `mostBytes` at any quality is taken, at the best that does. The same pixels give the same bytes.
 */
export async function makeTiles(source: PlateSource, { mostBytes, signal }: TilesOptions): Promise<PlateTiles> {
  const depth = Math.max(0, Math.ceil(Math.log2(Math.max(source.width, source.height) / TILE_PX)));
  for (let halvings = 0; halvings <= depth; halvings++) {
    for (const quality of QUALITIES) {
      const tiles = await walkPlate(source, { depth, halvings, quality, mostBytes, signal });
      if (!tiles) continue;
      const [widthPx, heightPx] = [source.width, source.height].map((side) => Math.ceil(side / 2 ** halvings));
      return { widthPx: widthPx!, heightPx: heightPx!, halvings, quality, levels: depth - halvings + 1, tiles };
    }
  }
  throw new InternalError(`not a single tile of a plate fits into ${mostBytes} bytes`);
}

interface Walk extends TilesOptions {
  /** How often the plate is halved until it is a single tile. */
  readonly depth: number;
  /** The finest level that is kept, and its quality. */
  readonly halvings: number;
  readonly quality: number;
}

/** All tiles, in the order of their names; null as soon as they take too much room. */
async function walkPlate(source: PlateSource, walk: Walk): Promise<Map<string, Buffer> | null> {
  const { depth, halvings: finest, mostBytes, signal } = walk;
  const made: [string, Buffer][] = [];
  const pending: Promise<void>[] = [];
  let bytes = 0;
  const encode = async (name: string, cell: Cell, quality: number): Promise<void> => {
    const jpeg = await toJpeg(cell, quality);
    made.push([name, jpeg]);
    bytes += jpeg.length;
  };
  const visit = async (halvings: number, x: number, y: number): Promise<Cell | null> => {
    throwIfAborted(signal);
    if (bytes > mostBytes) return null;
    const cell = halvings === 0 ? readCell(source, x, y) : await joined(halvings, x, y);
    if (!cell?.cover.some((share) => share > 0)) return null;
    if (halvings >= finest) {
      const quality = halvings === finest ? walk.quality : COARSE_QUALITY;
      pending.push(encode(`${depth - halvings}/${x}/${y}`, cell, quality));
      if (pending.length === AT_ONCE) await Promise.all(pending.splice(0));
    }
    return cell;
  };
  const joined = async (halvings: number, x: number, y: number): Promise<Cell | null> => {
    const children: (Cell | null)[] = [];
    for (const [dx, dy] of QUARTERS) {
      const inside = sizeAt(source, halvings - 1, 2 * x + dx, 2 * y + dy);
      children.push(inside ? await visit(halvings - 1, 2 * x + dx, 2 * y + dy) : null);
    }
    return joinCells(children, sizeAt(source, halvings, x, y)!, source.channels);
  };
  try {
    await visit(depth, 0, 0);
  } finally {
    await Promise.all(pending);
  }
  return bytes > mostBytes ? null : new Map(made.sort(([a], [b]) => (a < b ? -1 : 1)));
}

const QUARTERS = [
  [0, 0],
  [1, 0],
  [0, 1],
  [1, 1],
] as const;

/** Size of a tile, null beyond the plate. */
function sizeAt({ width, height }: PlateSource, halvings: number, x: number, y: number) {
  const left = Math.ceil(width / 2 ** halvings) - x * TILE_PX;
  const below = Math.ceil(height / 2 ** halvings) - y * TILE_PX;
  return left > 0 && below > 0 ? { width: Math.min(TILE_PX, left), height: Math.min(TILE_PX, below) } : null;
}

function readCell(source: PlateSource, x: number, y: number): Cell {
  const { image, coverage }: PlateWindow = source.read({
    ...{ x0: x * TILE_PX, y0: y * TILE_PX },
    ...sizeAt(source, 0, x, y)!,
  });
  const cover = coverage.data;
  const planes = image.planes.map((plane) => {
    const light = new Float32Array(plane.length);
    for (let i = 0; i < light.length; i++) light[i] = plane[i]! * cover[i]!;
    return light;
  });
  return { width: image.width, height: image.height, planes, cover };
}

function joinCells(
  children: readonly (Cell | null)[],
  { width, height }: { readonly width: number; readonly height: number },
  channels: number,
): Cell | null {
  if (children.every((child) => child === null)) return null;
  const planes = Array.from({ length: channels }, () => new Float32Array(width * height));
  const cover = new Float32Array(width * height);
  children.forEach((child, k) => {
    if (!child) return;
    const [dx, dy] = QUARTERS[k]!;
    const start = ((dy * TILE_PX) / 2) * width + (dx * TILE_PX) / 2;
    halveInto(cover, width, start, child, child.cover);
    for (const [c, plane] of planes.entries()) halveInto(plane, width, start, child, child.planes[c]!);
  });
  return { width, height, planes, cover };
}

/** Adds means of 2 x 2 values; an odd last row or column counts alone. */
function halveInto(
  out: Float32Array,
  stride: number,
  start: number,
  { width, height }: Cell,
  data: Float32Array,
): void {
  for (let y = 0; y < height; y += 2) {
    const down = y + 1 < height ? width : 0;
    for (let x = 0; x < width; x += 2) {
      const i = y * width + x;
      const right = x + 1 < width ? 1 : 0;
      const sum = data[i]! + data[i + right]! + data[i + down]! + data[i + down + right]!;
      out[start + (y / 2) * stride + x / 2] = sum / 4;
    }
  }
}

function toJpeg(cell: Cell, quality: number): Promise<Buffer> {
  const raw = { width: cell.width, height: cell.height, channels: cell.planes.length === RGB ? RGB : 1 } as const;
  return pictures(toPixels(cell), { raw }).jpeg({ quality, chromaSubsampling: '4:4:4' }).toBuffer();
}

function toPixels({ planes, cover }: Cell): Uint8Array {
  const count = cover.length;
  const codes = new Uint16Array(count * planes.length);
  const light = new Float32Array(count);
  const clips = { low: 0, high: 0 };
  planes.forEach((plane, c) => {
    for (let i = 0; i < count; i++) light[i] = plane[i]! + (1 - cover[i]!) * UNCOVERED;
    encode16('srgb', codes, c, planes.length, light, 0, count, clips);
  });
  const pixels = new Uint8Array(codes.length);
  for (let i = 0; i < codes.length; i++) pixels[i] = Math.round(codes[i]! / 257);
  return pixels;
}
