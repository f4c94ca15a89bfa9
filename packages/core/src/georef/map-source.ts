import type { GridBox } from '../compute/grid-box.js';
import { createPlane } from '../compute/image.js';
import { cubicAt } from '../compute/sample.js';
import type { PlateSource, PlateWindow } from '../plate/plate-source.js';
import { type BodyPose, bodyToPlate, type PlatePlace } from './body-pose.js';
import { groundAt, type MapGrid } from './map-grid.js';

/** Pixels around a place that cubic convolution looks at. */
const REACH_PX = 2;
/** A window is filled in parts of this side: on a turned plate a long one would need the whole of it. */
const PART_PX = 256;

/**
 * A plate laid out as a map, read window by window: every pixel of the grid is the plate's light where its ground lies, by
 * cubic convolution. Ground beyond the limb, off the plate or in a gap is not covered; nor is what touches one.
 */
export function mapSource(plate: PlateSource, pose: BodyPose, grid: MapGrid): PlateSource {
  const { width, height } = grid;
  return { width, height, channels: plate.channels, read: (window) => readWindow(plate, pose, grid, window) };
}

function readWindow(plate: PlateSource, pose: BodyPose, grid: MapGrid, window: GridBox): PlateWindow {
  const { width, height } = window;
  const planes = Array.from({ length: plate.channels }, () => new Float32Array(width * height));
  const out = { image: { width, height, planes }, coverage: createPlane(width, height) };
  for (let y = 0; y < height; y += PART_PX) {
    for (let x = 0; x < width; x += PART_PX) {
      fillPart(plate, pose, grid, window, out, {
        ...{ x0: x, y0: y },
        ...{ width: Math.min(PART_PX, width - x), height: Math.min(PART_PX, height - y) },
      });
    }
  }
  return out;
}

/** Fills a part of a window, counted from the window's own corner. */
function fillPart(
  plate: PlateSource,
  pose: BodyPose,
  grid: MapGrid,
  window: GridBox,
  { image, coverage }: PlateWindow,
  part: GridBox,
): void {
  const places = placesOf(plate, pose, grid, { ...part, x0: window.x0 + part.x0, y0: window.y0 + part.y0 });
  const box = boxAround(places, plate);
  if (!box) return;
  const from = plate.read(box);
  places.forEach((place, k) => {
    if (!place) return;
    const [x, y] = [place.x - box.x0, place.y - box.y0];
    if (!coveredAround(from.coverage.data, box, x, y)) return;
    const i = (part.y0 + Math.floor(k / part.width)) * image.width + part.x0 + (k % part.width);
    coverage.data[i] = 1;
    for (const [c, plane] of image.planes.entries()) {
      plane[i] = cubicAt(from.image.planes[c]!, box.width, box.height, x, y);
    }
  });
}

function placesOf(plate: PlateSource, pose: BodyPose, grid: MapGrid, window: GridBox): (PlatePlace | null)[] {
  const places: (PlatePlace | null)[] = [];
  for (let j = 0; j < window.height; j++) {
    for (let i = 0; i < window.width; i++) {
      const ground = groundAt(grid, window.x0 + i, window.y0 + j);
      const place = ground && bodyToPlate(pose, ground);
      const inside =
        place?.visible && place.x >= 0 && place.y >= 0 && place.x <= plate.width - 1 && place.y <= plate.height - 1;
      places.push(inside ? place : null);
    }
  }
  return places;
}

/** The part of the plate that the places need; undefined where there is none. */
function boxAround(places: readonly (PlatePlace | null)[], plate: PlateSource): GridBox | undefined {
  let [x0, y0, x1, y1] = [plate.width, plate.height, -1, -1];
  for (const place of places) {
    if (!place) continue;
    x0 = Math.min(x0, Math.floor(place.x) - REACH_PX);
    y0 = Math.min(y0, Math.floor(place.y) - REACH_PX);
    x1 = Math.max(x1, Math.ceil(place.x) + REACH_PX);
    y1 = Math.max(y1, Math.ceil(place.y) + REACH_PX);
  }
  if (x1 < 0) return undefined;
  [x0, y0] = [Math.max(0, x0), Math.max(0, y0)];
  [x1, y1] = [Math.min(plate.width - 1, x1), Math.min(plate.height - 1, y1)];
  return { x0, y0, width: x1 - x0 + 1, height: y1 - y0 + 1 };
}

function coveredAround(coverage: Float32Array, { width, height }: GridBox, x: number, y: number): boolean {
  const [left, top] = [Math.floor(x), Math.floor(y)];
  for (let j = Math.max(0, top); j <= Math.min(height - 1, top + 1); j++) {
    for (let i = Math.max(0, left); i <= Math.min(width - 1, left + 1); i++) {
      if (!(coverage[j * width + i]! > 0)) return false;
    }
  }
  return true;
}
