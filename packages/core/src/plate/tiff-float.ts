import { type MasterPrimaries, profileOf } from './master-colour.js';
import type { PlateSource } from './plate-source.js';
import type { LevelBand } from './pyramid-bands.js';
import { TILE_PX, type TiledTiffOptions, type TiledTiffResult, type TileFormat, writeTiledTiff } from './tiled-tiff.js';

export interface PlateFloatTiffOptions extends TiledTiffOptions {
  /** What the samples' primaries are. Default `bt709`. */
  readonly primaries?: MasterPrimaries;
}

/** Samples of a pixel: red, green, blue, alpha. */
const SAMPLES = 4;

/**
 * Writes the float master: linear light in 32-bit floats with coverage as unassociated alpha, always RGBA, tiles of 256 px,
 * deflate with the floating-point predictor (Adobe Photoshop TIFF Technical Note 3), a linear profile embedded, and a
 * pyramid. Nothing is clipped. Colours are not multiplied with the coverage; where it is 0 they are 0. What
 * {@link writeTiledTiff} promises and throws holds here, too.
 */
export async function writePlateFloatTiff(
  path: string,
  source: PlateSource,
  options: PlateFloatTiffOptions = {},
): Promise<TiledTiffResult> {
  return writeTiledTiff(path, source, floatFormat(options.primaries ?? 'bt709'), options);
}

function floatFormat(primaries: MasterPrimaries): TileFormat {
  return {
    pixelBytes: SAMPLES * 4,
    entries: [
      { tag: 258, type: 'short', values: [32, 32, 32, 32] }, // BitsPerSample
      { tag: 262, type: 'short', values: [2] }, // PhotometricInterpretation: RGB
      { tag: 277, type: 'short', values: [SAMPLES] },
      { tag: 317, type: 'short', values: [3] }, // Predictor: floating point
      { tag: 338, type: 'short', values: [2] }, // ExtraSamples: unassociated alpha
      { tag: 339, type: 'short', values: [3, 3, 3, 3] }, // SampleFormat: float
      { tag: 34675, type: 'undefined', values: profileOf({ encoding: 'linear', primaries }) },
    ],
    encode: encodeTile,
  };
}

/** One tile: in each row first the highest bytes of all samples, then the next ones, as differences between pixels. */
function encodeTile({ image, coverage }: LevelBand, left: number): Buffer {
  const rowBytes = TILE_PX * SAMPLES * 4;
  const out = Buffer.alloc(TILE_PX * rowBytes);
  const row = new Float32Array(TILE_PX * SAMPLES);
  const length = Math.min(TILE_PX, image.width - left);
  const planes = [0, 1, 2].map((c) => image.planes[image.planes.length === 1 ? 0 : c]!);
  for (let y = 0; y < image.height; y++) {
    const from = y * image.width + left;
    for (let x = 0, to = 0; x < length; x++, to += SAMPLES) {
      const covered = coverage.data[from + x]!;
      row[to + 3] = covered;
      for (let c = 0; c < 3; c++) row[to + c] = covered > 0 ? planes[c]![from + x]! : 0;
    }
    spread(row, out.subarray(y * rowBytes, (y + 1) * rowBytes));
  }
  return out;
}

function spread(row: Float32Array, out: Uint8Array): void {
  const bits = new Uint32Array(row.buffer);
  const { length } = bits;
  for (let i = 0; i < length; i++) {
    const word = bits[i]!;
    out[i] = word >>> 24;
    out[i + length] = (word >>> 16) & 255;
    out[i + 2 * length] = (word >>> 8) & 255;
    out[i + 3 * length] = word & 255;
  }
  for (let i = out.length - 1; i >= SAMPLES; i--) out[i]! -= out[i - SAMPLES]!;
}
