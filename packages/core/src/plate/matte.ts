import { encode16 } from './encode.js';
import { gaugeOf, type LimbEllipse } from './limb-ellipse.js';
import type { LimbSoftness } from './limb-softness.js';
import type { PlateSource } from './plate-source.js';
import type { LevelBand } from './pyramid-bands.js';
import { TILE_PX, type TiledTiffOptions, type TiledTiffResult, type TileFormat, writeTiledTiff } from './tiled-tiff.js';

/** Standard deviations beyond which the edge is done: the rest is less than half a 16-bit code. */
export const EDGE_SIGMAS = 4.4;

/** The part of the softness that the matte follows. */
export type MatteEdge = Pick<LimbSoftness, 'sigmaPx' | 'offsetPx'>;

/** Share of the body in a pixel at a distance outside the ellipse, px: the integral of a Gaussian. */
export function alphaAt(distancePx: number, { sigmaPx, offsetPx }: MatteEdge): number {
  const sigmas = (offsetPx - distancePx) / sigmaPx;
  if (sigmas > EDGE_SIGMAS) return 1;
  return sigmas < -EDGE_SIGMAS ? 0 : gaussianIntegral(sigmas);
}

/** Abramowitz & Stegun 26.2.17: true to 7.5e-8. */
function gaussianIntegral(z: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const tail =
    (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) *
    t *
    (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return z > 0 ? 1 - tail : tail;
}

/** Squared radii, in units of the ellipse, within which a pixel is all body, and beyond which it is none of it. */
export function edgeBounds(
  { aPx, bPx }: LimbEllipse,
  { sigmaPx, offsetPx }: MatteEdge,
): { readonly inner: number; readonly outer: number } {
  // Ellipses near a circle: a step across the edge is at most this in units of the smaller semi-axis.
  const step = (1.05 * (EDGE_SIGMAS * sigmaPx + Math.abs(offsetPx)) + 1) / Math.min(aPx, bPx);
  return { inner: Math.max(0, 1 - step) ** 2, outer: (1 + step) ** 2 };
}

/**
 * The matte of a disc: 1 within it, lit or not, 0 outside, and along the limb the share of the body in each pixel, as soft
 * as the plate's own limb. A picture of one channel that is covered everywhere, made where it is read.
 */
export function matteSource(
  { width, height }: { readonly width: number; readonly height: number },
  ellipse: LimbEllipse,
  edge: MatteEdge,
): PlateSource {
  const gauge = gaugeOf(ellipse);
  const { inner, outer } = edgeBounds(ellipse, edge);
  return {
    width,
    height,
    channels: 1,
    read: (box) => {
      const alpha = new Float32Array(box.width * box.height);
      for (let y = 0, i = 0; y < box.height; y++) {
        for (let x = 0; x < box.width; x++, i++) {
          const [px, py] = [box.x0 + x, box.y0 + y];
          const squared = gauge.squared(px, py);
          if (squared >= outer) continue;
          alpha[i] = squared <= inner ? 1 : alphaAt(gauge.place(px, py).distancePx, edge);
        }
      }
      const size = { width: box.width, height: box.height };
      return {
        image: { ...size, planes: [alpha] },
        coverage: { ...size, data: new Float32Array(alpha.length).fill(1) },
      };
    },
  };
}

/**
 * Writes the matte of a disc as a grey TIFF of 16 bits, linear: 65535 is all body. On the limb a plate's pixel is
 * P = M·body + (1 − M)·sky, so over a background B the body lies as P − (1 − M)·sky + (1 − M)·B; without the first
 * correction the sky would show as a fringe. The whole disc belongs to it, also beyond the terminator. What
 * {@link writeTiledTiff} promises and throws holds here, too.
 */
export async function writeMatte(
  path: string,
  size: { readonly width: number; readonly height: number },
  ellipse: LimbEllipse,
  edge: MatteEdge,
  options: TiledTiffOptions = {},
): Promise<TiledTiffResult> {
  return writeTiledTiff(path, matteSource(size, ellipse, edge), GREY_FORMAT, options);
}

const GREY_FORMAT: TileFormat = {
  pixelBytes: 2,
  entries: [
    { tag: 258, type: 'short', values: [16] }, // BitsPerSample
    { tag: 262, type: 'short', values: [1] }, // PhotometricInterpretation: black is 0
    { tag: 277, type: 'short', values: [1] }, // SamplesPerPixel
    { tag: 317, type: 'short', values: [2] }, // Predictor: horizontal differences
    { tag: 339, type: 'short', values: [1] }, // SampleFormat: unsigned
  ],
  encode: encodeTile,
};

function encodeTile({ image }: LevelBand, left: number): Buffer {
  const codes = new Uint16Array(TILE_PX * TILE_PX);
  const length = Math.min(TILE_PX, image.width - left);
  for (let y = 0; y < image.height; y++) {
    const from = y * image.width + left;
    encode16('linear', codes, y * TILE_PX, 1, image.planes[0]!, from, length, { low: 0, high: 0 });
    const row = codes.subarray(y * TILE_PX, (y + 1) * TILE_PX);
    for (let i = row.length - 1; i >= 1; i--) row[i]! -= row[i - 1]!;
  }
  return Buffer.from(codes.buffer);
}
