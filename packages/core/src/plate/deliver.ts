import { createHash } from 'node:crypto';
import { stat, writeFile } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { sha256File } from '../capture/hash.js';
import type { Capture } from '../capture/pass.js';
import { OutputError } from '../job/errors.js';
import { makeFolder } from '../job/work-folder.js';
import { writeWhole } from './atomic.js';
import { writeFloatTiff } from './float-tiff.js';
import type { HashedFile } from './hashed-file.js';
import type { PlateMaps } from './maps.js';
import type { Sidecar } from './sidecar.js';
import { timelineText } from './timeline.js';

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

/** Makes the folder, and refuses to go on where one of the files lies already unless it may be replaced. */
export async function prepareOutput(outDir: string, force: boolean, more: readonly string[]): Promise<PlatePaths> {
  await makeFolder(outDir);
  const paths = platePaths(outDir);
  if (force) return paths;
  for (const path of [...Object.values(paths), ...more]) {
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

/** Writes the maps of coverage, weight and noise, each whole or not at all, and tells what they hold. */
export async function writeMaps(
  paths: MapPaths,
  maps: PlateMaps,
  options: { readonly force: boolean; readonly signal?: AbortSignal },
): Promise<HashedFile[]> {
  const files: HashedFile[] = [];
  for (const name of ['coverage', 'weight', 'noise'] as const) {
    await writeFloatTiff(paths[name], maps[name], { force: options.force });
    files.push({ file: basename(paths[name]), sha256: await sha256File(paths[name], options.signal) });
  }
  return files;
}

/** Writes the timeline of a plate and its passes, whole or not at all. */
export async function writeTimeline(
  path: string,
  capture: Capture,
  platePath: string,
  force: boolean,
): Promise<HashedFile> {
  const text = timelineText(capture, dirname(path), platePath);
  await writeWhole(path, (temporary) => writeFile(temporary, text), { force });
  return { file: basename(path), sha256: createHash('sha256').update(text).digest('hex') };
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
