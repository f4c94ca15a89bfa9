import { readFile, writeFile } from 'node:fs/promises';
import { type GridBox, tilesOf } from '../compute/grid-box.js';
import type { JobContext } from '../job/context.js';
import { createRaster, type RasterFile, rasterBytes } from '../job/raster-file.js';
import { runStage } from '../job/stage.js';
import type { StripFile } from '../strip/strip-store.js';
import { blendTileTask } from './blend-tile.js';
import { CELL_PX, type CoarseStrip, cellsOf, coarseTask, createCoarse } from './coarse-strip.js';
import { joinCoarseTask } from './join-coarse.js';
import { NOBODY, type Owners } from './seams.js';

/** The joined strips, before anything is encoded: on disk. */
export interface BlendedPlate {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Linear light by channel, then the coverage: 1 where there is light, 0 elsewhere. */
  readonly raster: RasterFile;
  /** Which strip each cell of 8 plate px belongs to. */
  readonly owners: Owners;
  /** Share of the plate that is covered. */
  readonly covered: number;
  /** Pyramid levels over which the strips were joined; 0 where there is only one. */
  readonly levels: number;
  /** Place of the plate's first pixel in the space that the strips were stacked in. */
  readonly x0: number;
  readonly y0: number;
}

/** Side of a tile, plate px. Fixed, so that the same bits come out whatever the memory and the number of workers. */
const TILE_PX = 512;
/** Side of a part of a strip that is reduced at a time, cells. */
const PART_CELLS = 96;

/** What of the stage is plain JSON. */
interface BlendRecord {
  readonly levels: number;
  readonly covered: number;
  readonly owners: GridBox;
}

/** Stage: joins the strips to the plate, tile by tile. `key` names what the strips were made from. */
export async function blendStage(
  context: JobContext,
  strips: readonly StripFile[],
  key: unknown,
): Promise<BlendedPlate> {
  const x0 = Math.min(...strips.map((s) => s.box.x0));
  const y0 = Math.min(...strips.map((s) => s.box.y0));
  const width = Math.max(...strips.map((s) => s.box.x0 + s.box.width)) - x0;
  const height = Math.max(...strips.map((s) => s.box.y0 + s.box.height)) - y0;
  const planes = strips[0]!.raster.planes;
  const onPlate = strips.map((s) => ({ ...s, box: { ...s.box, x0: s.box.x0 - x0, y0: s.box.y0 - y0 } }));
  const rasterAt = (path: string): RasterFile => ({ path, width, height, planes });
  const tiles = tilesOf({ x0: 0, y0: 0, width, height }, TILE_PX);
  const artefact = await runStage<BlendRecord>(context, {
    name: 'blend',
    key,
    total: tiles.length,
    unit: 'tiles',
    needBytes: rasterBytes(rasterAt('')),
    run: async (handle) => {
      const { pool, signal } = context;
      const coarse = await pool.run(joinCoarseTask, await reduceStrips(context, onPlate), { signal });
      const plate = rasterAt(handle.path(PLATE_FILE));
      createRaster(plate);
      const counts = await pool.map(
        blendTileTask,
        tiles.map((tile) => ({ tile, strips: onPlate, coarse, plate })),
        { signal, onDone: (done) => handle.step(done) },
      );
      await writeFile(handle.path(OWNERS_FILE), coarse.owners.label);
      const covered = counts.reduce((sum, n) => sum + n, 0) / (width * height);
      return { levels: strips.length === 1 ? 0 : coarse.levels, covered, owners: coarse.owners.box };
    },
  });
  const { owners: box, ...figures } = artefact.result;
  const label = new Uint8Array(await readFile(artefact.path(OWNERS_FILE)));
  const raster = rasterAt(artefact.path(PLATE_FILE));
  return { ...figures, widthPx: width, heightPx: height, raster, owners: { box, label }, x0, y0 };
}

const PLATE_FILE = 'plate.f32';
const OWNERS_FILE = 'owners.u8';

/** The strips on the coarse grid of the plate. */
async function reduceStrips({ pool, signal }: JobContext, strips: readonly StripFile[]): Promise<CoarseStrip[]> {
  const all = strips.map((s) => createCoarse(cellsOf(s.box), s.raster.planes - 1));
  const inputs = strips.flatMap((strip, k) =>
    tilesOf(all[k]!.box, PART_CELLS).map((cells) => ({ strip, coarse: all[k]!, cells })),
  );
  await pool.map(coarseTask, inputs, { signal });
  return all;
}

/** Index of the strip that a covered plate pixel belongs to: the owner of the nearest cell that has one. */
export function ownerAt({ owners: { box, label } }: BlendedPlate, x: number, y: number): number {
  const u = Math.round(x / CELL_PX) - box.x0;
  const v = Math.round(y / CELL_PX) - box.y0;
  let nearest = Number.POSITIVE_INFINITY;
  let owner = 0;
  for (let j = Math.max(0, v - NEAR_CELLS); j <= Math.min(box.height - 1, v + NEAR_CELLS); j++) {
    for (let i = Math.max(0, u - NEAR_CELLS); i <= Math.min(box.width - 1, u + NEAR_CELLS); i++) {
      const away = (i - u) ** 2 + (j - v) ** 2;
      if (away >= nearest || label[j * box.width + i] === NOBODY) continue;
      nearest = away;
      owner = label[j * box.width + i]!;
    }
  }
  return owner;
}

/** A covered pixel lies no farther from a cell that is covered in part. */
const NEAR_CELLS = 2;
