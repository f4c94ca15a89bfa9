import type { Notice } from '../capture/pass.js';
import type { GridBox } from '../compute/grid-box.js';
import { luminance } from '../compute/image.js';
import type { LimbEllipse } from './limb-ellipse.js';
import type { PlateSource } from './plate-source.js';
import { shrink } from './shrink.js';
import { type CoveredCells, widestView } from './widest-view.js';

/** A frame to be cut from the plate, at its own scale. */
export interface CropRequest {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Middle of the frame, plate px (space 4). Default: the disc where all of it fits in, or else the lit part. */
  readonly centre?: { readonly x: number; readonly y: number };
}

/** Where a frame lies on the plate. */
export interface CropPlace {
  /** First pixel on the plate; outside it where the frame is larger than the plate. */
  readonly x0: number;
  readonly y0: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /**
   * How much wider and higher than the frame the widest view of its shape is that lies wholly on covered ground. A picture
   * that begins on that view can be enlarged so many times before a pixel of the plate is larger than one of the frame. Below
   * 1 no frame of this size is covered throughout.
   */
  readonly largestPushIn: number;
}

/**
 * Longest side of a crop that is written as one page, px: those who cut pictures expect no further ones. A larger crop is
 * seldom opened at full size, and is written with its halves as the master is.
 */
export const LARGEST_FLAT_PX = 16384;

/** Rows that are read at a time. */
const BAND_ROWS = 256;
/** Longer side of the small plate on which the lit part is looked for. */
const SMALL_PX = 1024;
/** Ground counts as lit from this share of the brightest on. */
const LIT_SHARE = 0.1;

/** Finds the place of a frame: around its centre, moved onto the plate as far as it fits there. `cells`: those of the plate. */
export function placeCrop(
  source: PlateSource,
  request: CropRequest,
  ellipse: LimbEllipse | null,
  cells: CoveredCells,
): CropPlace {
  const { widthPx, heightPx } = request;
  const centre = request.centre ?? middleOf(source, request, ellipse);
  return {
    x0: held(Math.round(centre.x - (widthPx - 1) / 2), widthPx, source.width),
    y0: held(Math.round(centre.y - (heightPx - 1) / 2), heightPx, source.height),
    widthPx,
    heightPx,
    largestPushIn: widestView(source, cells, heightPx / widthPx) / widthPx,
  };
}

/** A start that keeps the frame within the plate; in the middle where it is the larger one. */
function held(start: number, size: number, whole: number): number {
  return size > whole ? Math.round((whole - size) / 2) : Math.min(whole - size, Math.max(0, start));
}

/** What is to be said of a frame: that it was moved, which of its pixels lie beyond the plate, how many no frame covers. */
export function cropNotices(
  file: string,
  place: CropPlace,
  source: PlateSource,
  asked?: CropRequest['centre'],
): Notice[] {
  return [...moved(file, place, asked), ...padded(file, place, source), ...uncovered(file, place, source)];
}

function moved(file: string, { x0, y0, widthPx, heightPx }: CropPlace, asked: CropRequest['centre']): Notice[] {
  const [x, y] = [x0 + (widthPx - 1) / 2, y0 + (heightPx - 1) / 2];
  if (!asked || (Math.abs(x - asked.x) <= 1 && Math.abs(y - asked.y) <= 1)) return [];
  const detail = `Its middle was moved from ${asked.x},${asked.y} to ${x},${y}, so that it lies on the plate as far as it fits there`;
  return [{ item: file, reason: 'crop-moved', detail }];
}

function uncovered(file: string, place: CropPlace, source: PlateSource): Notice[] {
  const [left, top] = [Math.max(0, place.x0), Math.max(0, place.y0)];
  const width = Math.min(source.width, place.x0 + place.widthPx) - left;
  const bottom = Math.min(source.height, place.y0 + place.heightPx);
  let open = 0;
  for (let y0 = top; y0 < bottom; y0 += BAND_ROWS) {
    const band = { x0: left, y0, width, height: Math.min(BAND_ROWS, bottom - y0) };
    for (const share of source.read(band).coverage.data) if (!(share > 0)) open++;
  }
  if (open === 0) return [];
  const percent = (100 * open) / (place.widthPx * place.heightPx);
  const amount = percent < 0.1 ? 'less than 0.1' : percent.toFixed(1);
  return [
    { item: file, reason: 'crop-uncovered', detail: `No frame covers ${amount} % of it; that part is transparent` },
  ];
}

function padded(
  file: string,
  { x0, y0, widthPx, heightPx }: CropPlace,
  { width, height }: { readonly width: number; readonly height: number },
): Notice[] {
  const beyond: readonly [number, string][] = [
    [-x0, 'on the left'],
    [x0 + widthPx - width, 'on the right'],
    [-y0, 'at the top'],
    [y0 + heightPx - height, 'at the bottom'],
  ];
  const empty = beyond.filter(([px]) => px > 0).map(([px, side]) => `${px} px ${side}`);
  if (empty.length === 0) return [];
  const detail = `It is larger than the plate of ${width} x ${height} px; beyond it are ${empty.join(', ')}, which are empty`;
  return [{ item: file, reason: 'crop-padded', detail }];
}

function middleOf(
  source: PlateSource,
  { widthPx, heightPx }: CropRequest,
  ellipse: LimbEllipse | null,
): { x: number; y: number } {
  if (ellipse && 2 * Math.max(ellipse.aPx, ellipse.bPx) < Math.min(widthPx, heightPx)) {
    return { x: ellipse.centreX, y: ellipse.centreY };
  }
  const small = shrink(source, SMALL_PX);
  const { data, width, height } = luminance(small.image);
  const brightest = data.reduce((most, value) => Math.max(most, value), 0);
  let [left, top, right, bottom] = [width, height, -1, -1];
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      if (!(data[i]! > LIT_SHARE * brightest)) continue;
      [left, right] = [Math.min(left, x), Math.max(right, x)];
      [top, bottom] = [Math.min(top, y), Math.max(bottom, y)];
    }
  }
  if (right < 0) return { x: (source.width - 1) / 2, y: (source.height - 1) / 2 };
  const factor = source.width / width;
  return { x: ((left + right + 1) * factor - 1) / 2, y: ((top + bottom + 1) * factor - 1) / 2 };
}

/** A part of a plate as a plate of its own; nothing is covered beyond the plate's edge. */
export function cropOf(source: PlateSource, { x0, y0, widthPx, heightPx }: CropPlace): PlateSource {
  return {
    width: widthPx,
    height: heightPx,
    channels: source.channels,
    read: (box) => {
      const left = Math.max(0, box.x0 + x0);
      const top = Math.max(0, box.y0 + y0);
      const width = Math.min(source.width, box.x0 + x0 + box.width) - left;
      const height = Math.min(source.height, box.y0 + y0 + box.height) - top;
      const planes = Array.from({ length: source.channels + 1 }, () => new Float32Array(box.width * box.height));
      if (width > 0 && height > 0) {
        const inside = { x0: left, y0: top, width, height };
        const window = source.read(inside);
        const from = { x0: left - x0 - box.x0, y0: top - y0 - box.y0, width, height };
        for (const [k, plane] of [...window.image.planes, window.coverage.data].entries()) {
          paste(plane, from, planes[k]!, box.width);
        }
      }
      const size = { width: box.width, height: box.height };
      return { image: { ...size, planes: planes.slice(0, -1) }, coverage: { ...size, data: planes.at(-1)! } };
    },
  };
}

function paste(plane: Float32Array, { x0, y0, width, height }: GridBox, into: Float32Array, wide: number): void {
  for (let y = 0; y < height; y++) {
    into.set(plane.subarray(y * width, (y + 1) * width), (y0 + y) * wide + x0);
  }
}
