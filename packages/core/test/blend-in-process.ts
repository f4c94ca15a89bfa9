// The steps of blending without workers: strips in memory are put on disk, reduced, joined and blended tile by tile.
import { runBlendTile } from '../src/blend/blend-tile.js';
import { cellsOf, createCoarse, runCoarse } from '../src/blend/coarse-strip.js';
import { joinCoarse } from '../src/blend/join-coarse.js';
import { type GridBox, tilesOf } from '../src/compute/grid-box.js';
import type { LinearImage, Plane } from '../src/compute/image.js';
import { createRaster, withRaster } from '../src/job/raster-file.js';
import type { StripFile } from '../src/strip/strip-store.js';

/** A strip on the plate: light, and how much of it there is (0 where there is none). */
export interface BlendStrip {
  readonly x0: number;
  readonly y0: number;
  readonly image: LinearImage;
  readonly weight: Plane;
}

/** The plate that strips give. */
export function blendStrips(
  scratch: (name: string) => string,
  strips: readonly BlendStrip[],
  width: number,
  height: number,
  tilePx = 512,
): { readonly image: LinearImage; readonly coverage: Plane; readonly levels: number } {
  const files = strips.map((strip, k) => stripFile(scratch(`strip-${k}.f32`), strip));
  const coarse = files.map((strip) => {
    const whole = createCoarse(cellsOf(strip.box), strip.raster.planes - 1);
    for (const cells of tilesOf(whole.box, 17)) runCoarse({ strip, coarse: whole, cells });
    return whole;
  });
  const joined = joinCoarse(coarse);
  const planes = strips[0]!.image.planes.length + 1;
  const plate = { path: scratch('plate.f32'), width, height, planes };
  createRaster(plate);
  const box: GridBox = { x0: 0, y0: 0, width, height };
  for (const tile of tilesOf(box, tilePx)) runBlendTile({ tile, strips: files, coarse: joined, plate });
  const out = Array.from({ length: planes }, () => new Float32Array(width * height));
  withRaster(plate, 'r', (open) => {
    for (const [k, plane] of out.entries()) open.read(k, box, plane);
  });
  const coverage = { width, height, data: out.pop()! };
  return { image: { width, height, planes: out }, coverage, levels: strips.length === 1 ? 0 : joined.levels };
}

function stripFile(path: string, { x0, y0, image, weight }: BlendStrip): StripFile {
  const { width, height } = image;
  const raster = { path, width, height, planes: image.planes.length + 1 };
  createRaster(raster);
  withRaster(raster, 'r+', (open) => {
    const whole = { x0: 0, y0: 0, width, height };
    for (const [c, plane] of image.planes.entries())
      open.write(
        c,
        whole,
        plane.map((v, i) => v * weight.data[i]!),
      );
    open.write(image.planes.length, whole, weight.data);
  });
  return { box: { x0, y0, width, height }, raster };
}
