import type { GridBox } from '../compute/grid-box.js';
import type { LinearImage, Plane } from '../compute/image.js';
import { type RasterFile, withRaster } from '../job/raster-file.js';

/** A plate before anything is encoded, wherever it lies; read window by window (space 4). */
export interface PlateSource {
  readonly width: number;
  readonly height: number;
  /** 1 for grey, 3 for red, green, blue. */
  readonly channels: number;
  /** Linear light and coverage of a window that lies within the plate. */
  read(window: GridBox): PlateWindow;
}

/** A part of a plate. */
export interface PlateWindow {
  readonly image: LinearImage;
  /** 0..1; the image is 0 where it is 0. */
  readonly coverage: Plane;
}

/** A plate on disk, its coverage being the last plane. */
export function plateOnDisk(raster: RasterFile): PlateSource {
  return {
    width: raster.width,
    height: raster.height,
    channels: raster.planes - 1,
    read: (window) => {
      const { width, height } = window;
      const all = Array.from({ length: raster.planes }, () => new Float32Array(width * height));
      withRaster(raster, 'r', (open) => {
        for (const [k, plane] of all.entries()) open.read(k, window, plane);
      });
      return {
        image: { width, height, planes: all.slice(0, -1) },
        coverage: { width, height, data: all.at(-1)! },
      };
    },
  };
}

/** The same plate; `onRead` is told how many pixels have been read of it in all. */
export function countReads(source: PlateSource, onRead: (pixels: number) => void): PlateSource {
  let pixels = 0;
  return {
    ...source,
    read: (window) => {
      const found = source.read(window);
      pixels += window.width * window.height;
      onRead(pixels);
      return found;
    },
  };
}

/** A plate's windows as wide as itself, from top to bottom, in bands that hold about {@link BAND_PIXELS} pixels. */
export function* bandsOf(source: PlateSource, rowsAtLeast = 1): Generator<PlateWindow & { readonly y0: number }> {
  const rows = rowsAtLeast * Math.max(1, Math.floor(BAND_PIXELS / (source.width * rowsAtLeast)));
  for (let y0 = 0; y0 < source.height; y0 += rows) {
    const height = Math.min(rows, source.height - y0);
    yield { ...source.read({ x0: 0, y0, width: source.width, height }), y0 };
  }
}

const BAND_PIXELS = 2 ** 21;
