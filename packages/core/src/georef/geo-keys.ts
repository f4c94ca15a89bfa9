import type { TiffEntry } from '../plate/tiff-layout.js';
import type { MapGrid } from './map-grid.js';

/** Values of keys: OGC GeoTIFF 1.1 (19-008r4). */
const MODEL_PROJECTED = 1;
const RASTER_PIXEL_IS_AREA = 1;
const USER_DEFINED = 32767;
const DEGREE = 9102;
const METRE = 9001;
const METHOD = { orthographic: 21, equirectangular: 17 } as const;

/**
 * The TIFF tags that lay a map on the ground: pixel scale, tie point and the key directory of a projection on a sphere
 * (GeoTIFF 1.1), the Moon's being that of IAU_2015:30100.
 */
export function geoEntries(grid: MapGrid, body: 'Moon' | 'Sun'): TiffEntry[] {
  const doubles: number[] = [];
  let text = '';
  const keys: number[] = [];
  const short = (id: number, value: number): void => void keys.push(id, 0, 1, value);
  const real = (id: number, value: number): void => {
    keys.push(id, 34736, 1, doubles.length);
    doubles.push(value);
  };
  const ascii = (id: number, value: string): void => {
    keys.push(id, 34737, value.length + 1, text.length);
    text += `${value}|`;
  };
  const name = grid.projection === 'orthographic' ? 'Orthographic' : 'Equirectangular';
  short(1024, MODEL_PROJECTED);
  short(1025, RASTER_PIXEL_IS_AREA);
  ascii(1026, `${body} ${name}`);
  short(2048, USER_DEFINED);
  ascii(
    2049,
    `GCS Name = ${body} 2015|Datum = ${body} 2015|Ellipsoid = ${body} 2015 - Sphere|Primem = Reference Meridian`,
  );
  short(2050, USER_DEFINED);
  short(2051, USER_DEFINED);
  short(2054, DEGREE);
  short(2056, USER_DEFINED);
  real(2057, grid.radiusM);
  real(2058, grid.radiusM);
  real(2061, 0);
  short(3072, USER_DEFINED);
  ascii(3073, `${body} ${name}`);
  short(3074, USER_DEFINED);
  short(3075, METHOD[grid.projection]);
  short(3076, METRE);
  if (grid.projection === 'equirectangular') real(3078, 0);
  real(3082, 0);
  real(3083, 0);
  real(3088, 0);
  real(3089, 0);
  return [
    { tag: 33550, type: 'double', values: [grid.pixelM, grid.pixelM, 0] },
    { tag: 33922, type: 'double', values: [0, 0, 0, grid.leftM, grid.topM, 0] },
    { tag: 34735, type: 'short', values: [1, 1, 1, keys.length / 4, ...keys] },
    { tag: 34736, type: 'double', values: doubles },
    { tag: 34737, type: 'ascii', values: Buffer.from(`${text}\0`, 'latin1') },
  ];
}
