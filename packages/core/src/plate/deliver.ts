import { createHash } from 'node:crypto';
import { stat, writeFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import type { BlendedPlate } from '../blend/blend-stage.js';
import { sha256File } from '../capture/hash.js';
import { OutputError } from '../job/errors.js';
import { makeFolder } from '../job/work-folder.js';
import { writeWhole } from './atomic.js';
import { writeFloatTiff } from './float-tiff.js';
import type { PlateMaps } from './maps.js';
import { plateOnDisk } from './plate-source.js';
import { writePreview } from './preview.js';
import type { HashedFile, Sidecar, WrittenFiles } from './sidecar.js';
import { writePlateTiff } from './tiff.js';

/** Paths of what a stitch leaves behind. */
export interface PlatePaths {
  readonly plate: string;
  readonly preview: string;
  readonly sidecar: string;
  readonly report: string;
}

/** Paths of the maps that are written on request. */
export interface MapPaths {
  readonly coverage: string;
  readonly weight: string;
  readonly noise: string;
}

/** The four files of a plate in a folder. */
export function platePaths(outDir: string): PlatePaths {
  return {
    plate: join(outDir, 'plate.tif'),
    preview: join(outDir, 'preview.jpg'),
    sidecar: join(outDir, 'plate.json'),
    report: join(outDir, 'report.html'),
  };
}

/** The maps of a plate in a folder. */
export function mapPaths(outDir: string): MapPaths {
  return {
    coverage: join(outDir, 'coverage.tif'),
    weight: join(outDir, 'weight.tif'),
    noise: join(outDir, 'noise.tif'),
  };
}

/** Makes the folder, and refuses to go on where a plate lies already unless it may be replaced. */
export async function prepareOutput(outDir: string, force: boolean, maps: boolean): Promise<PlatePaths> {
  await makeFolder(outDir);
  const paths = platePaths(outDir);
  if (force) return paths;
  for (const path of [...Object.values(paths), ...(maps ? Object.values(mapPaths(outDir)) : [])]) {
    const present = await stat(path).then(
      () => true,
      () => false,
    );
    if (present)
      throw new OutputError(
        'OUTPUT_EXISTS',
        `${path} exists already. Choose another folder, or allow it to be replaced (--force).`,
      );
  }
  return paths;
}

/** Writes plate and preview, each whole or not at all. */
export async function writePictures(
  paths: PlatePaths,
  blended: BlendedPlate,
  force: boolean,
  signal?: AbortSignal,
): Promise<WrittenFiles> {
  const source = plateOnDisk(blended.raster);
  const plate = await writePlateTiff(paths.plate, source, { force, ...(signal && { signal }) });
  const preview = await writePreview(paths.preview, source, { force });
  return {
    plate: { file: basename(paths.plate), sha256: await sha256File(paths.plate, signal), ...plate },
    preview: { file: basename(paths.preview), sha256: await sha256File(paths.preview, signal), ...preview },
  };
}

/** Writes the maps of coverage, weight and noise, each whole or not at all. */
export async function writeMaps(paths: MapPaths, maps: PlateMaps, force: boolean): Promise<void> {
  for (const name of ['coverage', 'weight', 'noise'] as const) await writeFloatTiff(paths[name], maps[name], { force });
}

/** A sidecar as it is written, and what identifies its content. */
export interface SidecarText extends HashedFile {
  readonly text: string;
}

/** The text of a sidecar that is to lie at `path`. */
export function sidecarText(path: string, sidecar: Sidecar): SidecarText {
  const text = `${JSON.stringify(sidecar, null, 1)}\n`;
  return { file: basename(path), sha256: createHash('sha256').update(text).digest('hex'), text };
}

/** Writes the sidecar, last of all: a folder with a sidecar is complete. */
export async function writeSidecar(path: string, { text }: SidecarText, force: boolean): Promise<void> {
  await writeWhole(path, (temporary) => writeFile(temporary, text), { force });
}
