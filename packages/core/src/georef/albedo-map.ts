import sharp, { type OutputInfo } from 'sharp';
import type { Plane } from '../compute/image.js';
import { bilinearAt } from '../compute/sample.js';
import { InputError } from '../job/errors.js';

/**
 * An equirectangular picture of a whole body: longitude -180 to 180 from left to right, latitude 90 to -90 from top to
 * bottom, grey, as displayed. Only its pattern counts, not its scale of brightness.
 */
export type AlbedoMap = Plane;

/** Wider maps are shrunk to this. */
const MOST_WIDTH_PX = 16_384;

/**
 * Reads a map from any picture file. Throws {@link InputError} `MAP_UNREADABLE` when it is none, or not twice as wide as
 * high.
 */
export async function readAlbedoMap(path: string): Promise<AlbedoMap> {
  const fail = (why: string, cause?: unknown): InputError =>
    new InputError(
      'MAP_UNREADABLE',
      `${path} cannot be used as a map (${why}). Give a picture of the whole body, equirectangular, twice as wide as high, longitude 0 in the middle.`,
      cause === undefined ? undefined : { cause },
    );
  let decoded: { data: Buffer; info: OutputInfo };
  try {
    decoded = await sharp(path, { limitInputPixels: 2 ** 30 })
      .flatten()
      .resize({ width: MOST_WIDTH_PX, withoutEnlargement: true })
      .toColourspace('b-w')
      .raw()
      .toBuffer({ resolveWithObject: true });
  } catch (error) {
    throw fail(error instanceof Error ? error.message : String(error), error);
  }
  const { width, height, channels } = decoded.info;
  if (Math.abs(width / height - 2) > 0.01) throw fail(`it has ${width} x ${height} pixels`);
  const data = new Float32Array(width * height);
  for (let i = 0; i < data.length; i++) data[i] = decoded.data[i * channels]! / 255;
  return { width, height, data };
}

/** The map's value at a place of the body, degrees, between its pixels. */
export function mapAt({ data, width, height }: AlbedoMap, longitudeDeg: number, latitudeDeg: number): number {
  const turned = (((longitudeDeg + 180) % 360) + 360) % 360;
  const x = (turned / 360) * width - 0.5;
  const y = ((90 - latitudeDeg) / 180) * height - 0.5;
  // Across the date line the picture goes on.
  if (x >= 0 && x <= width - 1) return bilinearAt(data, width, height, x, y);
  const last = bilinearAt(data, width, height, width - 1, y);
  const first = bilinearAt(data, width, height, 0, y);
  const f = x < 0 ? x + 1 : x - (width - 1);
  return last + f * (first - last);
}

/** The map with whole blocks averaged, so that it is no finer than `widthPx`. */
export function coarser(map: AlbedoMap, widthPx: number): AlbedoMap {
  const factor = Math.floor(map.width / Math.max(64, widthPx));
  if (factor <= 1) return map;
  const [width, height] = [Math.floor(map.width / factor), Math.floor(map.height / factor)];
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let j = 0; j < factor; j++) {
        const from = (y * factor + j) * map.width + x * factor;
        for (let i = 0; i < factor; i++) sum += map.data[from + i]!;
      }
      data[y * width + x] = sum / factor ** 2;
    }
  }
  return { width, height, data };
}
