import type { LinearImage, Plane } from '../src/compute/image.js';
import { createRaster, withRaster } from '../src/job/raster-file.js';
import { type PlateSource, plateOnDisk } from '../src/plate/plate-source.js';

/** Puts a picture and its coverage on disk as a plate that is not encoded yet. */
export function plateFrom(path: string, image: LinearImage, coverage: Plane): PlateSource {
  const { width, height } = image;
  const raster = { path, width, height, planes: image.planes.length + 1 };
  createRaster(raster);
  withRaster(raster, 'r+', (open) => {
    for (const [k, plane] of [...image.planes, coverage.data].entries()) {
      open.write(k, { x0: 0, y0: 0, width, height }, plane);
    }
  });
  return plateOnDisk(raster);
}
