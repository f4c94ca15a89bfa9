import { DEG } from '../sky/angles.js';
import type { BodyPoint } from '../sky/types.js';

/** How the ground is laid flat; both on the IAU's sphere. */
export type MapProjection = 'orthographic' | 'equirectangular';

/** The names of {@link MapProjection}. */
export const MAP_PROJECTIONS: readonly MapProjection[] = ['orthographic', 'equirectangular'];

/** A grid on the projected ground: x to the east and y to the north in metres, pixels from the upper left corner. */
export interface MapGrid {
  readonly projection: MapProjection;
  readonly radiusM: number;
  readonly pixelM: number;
  readonly width: number;
  readonly height: number;
  /** Upper left corner of the first pixel, metres. */
  readonly leftM: number;
  readonly topM: number;
}

/** Longitudes that libration can bring into view, degrees to either side of 0. */
const EQUIRECTANGULAR_REACH_DEG = 98;

/**
 * The grid of a whole near side: orthographic as seen from above longitude 0, latitude 0, or equirectangular with the
 * equator true to scale. The pixel is given in km.
 */
export function mapGrid(projection: MapProjection, radiusKm: number, kmPerPx: number): MapGrid {
  const radiusM = 1000 * radiusKm;
  const pixelM = 1000 * kmPerPx;
  const halfX = projection === 'orthographic' ? radiusM : radiusM * EQUIRECTANGULAR_REACH_DEG * DEG;
  const halfY = projection === 'orthographic' ? radiusM : (radiusM * Math.PI) / 2;
  const [columns, rows] = [Math.ceil(halfX / pixelM), Math.ceil(halfY / pixelM)];
  return {
    projection,
    radiusM,
    pixelM,
    width: 2 * columns,
    height: 2 * rows,
    leftM: -columns * pixelM,
    topM: rows * pixelM,
  };
}

/** The point of the body (space 6) at a place of the grid, px with integers at pixel centres; null where there is none. */
export function groundAt(grid: MapGrid, column: number, row: number): BodyPoint | null {
  const x = (grid.leftM + (column + 0.5) * grid.pixelM) / grid.radiusM;
  const y = (grid.topM - (row + 0.5) * grid.pixelM) / grid.radiusM;
  if (grid.projection === 'equirectangular') {
    return Math.abs(y) > Math.PI / 2 || Math.abs(x) > Math.PI ? null : { longitudeDeg: x / DEG, latitudeDeg: y / DEG };
  }
  const away = x * x + y * y;
  if (away >= 1) return null;
  return { longitudeDeg: Math.atan2(x, Math.sqrt(1 - away)) / DEG, latitudeDeg: Math.asin(y) / DEG };
}

/** Where a point of the body lies on the grid; null on the far side of an orthographic one. */
export function onGrid(grid: MapGrid, { longitudeDeg, latitudeDeg }: BodyPoint): { x: number; y: number } | null {
  const [longitude, latitude] = [longitudeDeg * DEG, latitudeDeg * DEG];
  const flat = grid.projection === 'equirectangular';
  if (!flat && Math.cos(latitude) * Math.cos(longitude) <= 0) return null;
  const x = flat ? longitude : Math.cos(latitude) * Math.sin(longitude);
  const y = flat ? latitude : Math.sin(latitude);
  return {
    x: (x * grid.radiusM - grid.leftM) / grid.pixelM - 0.5,
    y: (grid.topM - y * grid.radiusM) / grid.pixelM - 0.5,
  };
}
