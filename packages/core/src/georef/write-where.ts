import { writeFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { sha256File } from '../capture/hash.js';
import { writeWhole } from '../plate/atomic.js';
import type { HashedFile } from '../plate/hashed-file.js';
import type { PlateSource } from '../plate/plate-source.js';
import { tellWriting, type Writing } from '../plate/tell-writing.js';
import { writePlateTiff } from '../plate/tiff.js';
import type { Whereabouts, WhereUnknown } from '../plate/whereabouts.js';
import { RADIUS_KM } from '../sky/orientation.js';
import { bodyPoseOf } from './describe-where.js';
import { featureOverlay } from './feature-overlay.js';
import { geoEntries } from './geo-keys.js';
import { type MapProjection, mapGrid } from './map-grid.js';
import { mapSource } from './map-source.js';

/** Paths of what is written of a plate's place on its body. */
export interface WherePaths {
  /** The drawing of named features. */
  readonly features: string;
  readonly map: string;
}

/** The files in a folder. */
export function wherePaths(outDir: string): WherePaths {
  return { features: join(outDir, 'features.svg'), map: join(outDir, 'map.tif') };
}

/**
 * Writes the drawing of named features, and the plate as a map where one is asked for: each whole or not at all. Where it is
 * not known where the plate lies, neither is written.
 */
export async function writeWhere(
  paths: WherePaths,
  where: Whereabouts | WhereUnknown,
  source: PlateSource,
  projection: MapProjection | null,
  options: Writing,
): Promise<HashedFile[]> {
  if (!where.known) return [];
  const files: HashedFile[] = [];
  const done = async (path: string): Promise<void> => {
    files.push({ file: basename(path), sha256: await sha256File(path, options.signal) });
  };
  if (where.features.length > 0) {
    const drawing = featureOverlay(where, source.width, source.height);
    await writeWhole(paths.features, (temporary) => writeFile(temporary, drawing), { force: options.force });
    await done(paths.features);
  }
  if (projection) {
    await writePlateMap(paths.map, where, source, projection, options);
    await done(paths.map);
  }
  return files;
}

/**
 * Writes the plate laid out on the body's sphere as a GeoTIFF: 16-bit sRGB, alpha where the plate shows the ground, at the
 * scale that the plate has in the middle of the disc. The sphere is the IAU's of 2015.
 */
export async function writePlateMap(
  path: string,
  where: Whereabouts,
  source: PlateSource,
  projection: MapProjection,
  options: Writing,
): Promise<void> {
  const grid = mapGrid(projection, RADIUS_KM[where.body], where.kmPerPx);
  const { onProgress: _, ...plain } = options;
  const map = mapSource(source, bodyPoseOf(where, where.body), grid);
  await tellWriting(options, path, map, (told) =>
    writePlateTiff(path, told, { ...plain, extra: geoEntries(grid, where.body) }),
  );
}
