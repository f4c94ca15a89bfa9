import { open, readdir, rename, rm, stat } from 'node:fs/promises';
import { basename, resolve } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { OutputError, ResourceError } from '../job/errors.js';
import { partialBeside } from '../job/partial.js';
import { explainUnwritable } from '../job/resources.js';
import { makeFolder } from '../job/work-folder.js';

/**
 * Writes a picture of one or three interleaved channels, 8 or 16 bits by the type of its array, and flushes it. A PNG gets
 * the moment of its exposure as Exif; TIFFs have no place for it here.
 */
export async function writePicture(
  path: string,
  data: Uint8Array | Uint16Array,
  width: number,
  height: number,
  format: 'png' | 'tif',
  utc?: string,
): Promise<void> {
  const channels = data.length === width * height ? 1 : 3;
  const deep = data instanceof Uint16Array;
  const colours = channels === 1 ? (deep ? 'grey16' : 'b-w') : deep ? 'rgb16' : 'srgb';
  const image = sharp(data, { raw: { width, height, channels }, limitInputPixels: false }).toColourspace(colours);
  const encoded =
    format === 'png'
      ? stamped(image, utc).png({ compressionLevel: 3, adaptiveFiltering: true, palette: false })
      : image.tiff({ compression: 'deflate', predictor: 'horizontal' });
  await writeWhole(path, await encoded.toBuffer());
}

/** With the moment in the Exif directory, as cameras put it there. */
function stamped(image: Sharp, utc: string | undefined): Sharp {
  if (utc === undefined) return image;
  const [, date, time, fraction = '000'] = /^(.*)T(.*?)(?:\.(\d+))?Z$/.exec(new Date(utc).toISOString())!;
  const DateTimeOriginal = `${date!.replaceAll('-', ':')} ${time}`;
  return image.withExif({ IFD2: { DateTimeOriginal, SubSecTimeOriginal: fraction, OffsetTimeOriginal: '+00:00' } });
}

/** Writes an object as indented JSON and flushes it. */
export async function writeJson(path: string, value: unknown): Promise<void> {
  await writeWhole(path, `${JSON.stringify(value, null, 1)}\n`);
}

async function writeWhole(path: string, data: Uint8Array | string): Promise<void> {
  try {
    const file = await open(path, 'wx');
    try {
      await file.writeFile(data);
      await file.sync();
    } finally {
      await file.close();
    }
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'ENOSPC') {
      throw new ResourceError('OUT_OF_SPACE', `No space left while writing ${path}. Free some, then run again.`, {
        cause,
      });
    }
    throw explainUnwritable(cause, path);
  }
}

/**
 * Lets `fill` write into a hidden folder beside `dir` and renames it to `dir` at the end; nothing is left behind when `fill`
 * throws. An existing `dir` is replaced only with `force`, and only if it is empty or `isOurs` says so of its entries.
 * Throws {@link OutputError} with OUTPUT_EXISTS.
 */
export async function replaceFolder(
  dir: string,
  force: boolean,
  isOurs: (entries: readonly string[]) => boolean,
  fill: (folder: string) => Promise<void>,
): Promise<void> {
  const target = resolve(dir);
  const before = await entriesOf(target);
  if (before !== undefined && !force) {
    throw new OutputError('OUTPUT_EXISTS', `${dir} exists already. Name a new folder, or force its replacement.`);
  }
  if (before !== undefined && before.length > 0 && !isOurs(before)) {
    throw new OutputError(
      'OUTPUT_EXISTS',
      `${dir} holds something else than a rehearsal and is not replaced. Name a new folder.`,
    );
  }
  const folder = await partialBeside(target);
  const old = `${folder}-old`;
  await makeFolder(folder);
  try {
    await fill(folder);
    if (before !== undefined) await rename(target, old);
    await rename(folder, target);
  } finally {
    await rm(folder, { recursive: true, force: true });
    await rm(old, { recursive: true, force: true });
  }
}

/** Names in a folder; undefined when there is nothing of that name; a file counts as a folder of one strange entry. */
async function entriesOf(path: string): Promise<string[] | undefined> {
  const found = await stat(path).catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT') return undefined;
    throw error;
  });
  if (found === undefined) return undefined;
  return found.isDirectory() ? await readdir(path) : [basename(path)];
}
