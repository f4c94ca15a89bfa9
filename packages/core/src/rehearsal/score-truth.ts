import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { createPlane, type Plane } from '../compute/image.js';
import { InputError } from '../job/errors.js';

/** The scene that a rehearsal was made from. */
export interface Truth {
  /** Linear light; 1 is the bright level of the lit ground. The grid's pixels are "truth px". */
  readonly scene: Plane;
  /** Truth px per frame px (space 2). */
  readonly truthPxPerFramePx: number;
  /** The larger side of the scene's lit part, frame px. */
  readonly referenceLengthPx: number;
}

/** Linear light of the largest 16-bit value in truth.png. */
const FULL_SCALE = 1.5;

/** Reads truth.png (16-bit grey, linear) and truth.json of a folder. Throws InputError TRUTH_UNREADABLE. */
export async function readTruth(truthDir: string): Promise<Truth> {
  const { os, D } = await readNumbers(join(truthDir, 'truth.json'));
  const path = join(truthDir, 'truth.png');
  try {
    const picture = sharp(path, { limitInputPixels: false });
    const { depth, channels } = await picture.metadata();
    if (depth !== 'ushort' || channels !== 1) throw new Error(`it holds ${channels} channels of ${depth}`);
    const { data, info } = await picture
      .toColourspace('grey16')
      .raw({ depth: 'ushort' })
      .toBuffer({ resolveWithObject: true });
    const values = new Uint16Array(data.buffer, data.byteOffset, info.width * info.height);
    const scene = createPlane(info.width, info.height);
    for (let i = 0; i < values.length; i++) scene.data[i] = (values[i]! / 65535) * FULL_SCALE;
    return { scene, truthPxPerFramePx: os, referenceLengthPx: D };
  } catch (cause) {
    throw unreadable(path, 'a PNG of one 16-bit grey channel', cause);
  }
}

async function readNumbers(path: string): Promise<{ os: number; D: number }> {
  try {
    const { os, D } = JSON.parse(await readFile(path, 'utf8')) as { os?: unknown; D?: unknown };
    if (!isPositive(os) || !isPositive(D)) throw new Error(`os is ${String(os)}, D is ${String(D)}`);
    return { os, D };
  } catch (cause) {
    throw unreadable(path, 'JSON with positive numbers "os" (truth px per frame px) and "D" (frame px)', cause);
  }
}

function isPositive(value: unknown): value is number {
  return typeof value === 'number' && value > 0 && value < Infinity;
}

function unreadable(path: string, expected: string, cause: unknown): InputError {
  const detail = cause instanceof Error ? cause.message : String(cause);
  return new InputError(
    'TRUTH_UNREADABLE',
    `Cannot use ${path}: expected ${expected} (${detail}). Give the folder that "rehearse" wrote the truth into.`,
    { cause },
  );
}
