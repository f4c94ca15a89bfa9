import { createHash } from 'node:crypto';
import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { createRandom } from '../src/compute/random.js';
import { ENCODING_NAMES, inPrimaries, type MasterColour, SRGB_COLOUR } from '../src/plate/master-colour.js';
import { writePlateTiff } from '../src/plate/tiff.js';
import { plateFrom } from './plate-on-disk.js';

/** What a made plate is like. */
export interface PlateFolder {
  readonly width?: number;
  readonly height?: number;
  readonly bigtiff?: boolean;
  readonly complete?: boolean;
  /** When each frame began; null where it is not known. */
  readonly times?: readonly ({
    readonly utc: string;
    readonly from: string;
    readonly uncertaintyS: number | null;
  } | null)[];
  /** Fields of the sidecar in place of its own. */
  readonly sidecar?: Readonly<Record<string, unknown>>;
  /** Coverage at a pixel. Default: full but for a ragged edge of 3 to 6 px. */
  readonly coverage?: (x: number, y: number) => number;
  /** Default: sRGB. */
  readonly colour?: MasterColour;
  readonly alpha?: string;
  /** Default false. */
  readonly synthetic?: boolean;
}

/** Size of a plate where nothing else is said. */
export const PLATE_SIZE = { width: 300, height: 260 } as const;

/** Puts a plate of a lit disc with its sidecar and preview into a folder, as stitching does; gives the folder. */
export async function makePlateFolder(folder: string, options: PlateFolder = {}): Promise<string> {
  const { width = PLATE_SIZE.width, height = PLATE_SIZE.height, bigtiff = false, times = [null] } = options;
  const { colour = SRGB_COLOUR } = options;
  await mkdir(folder, { recursive: true });
  const random = createRandom('plate folder');
  const ragged = (x: number, y: number): number => {
    const inside = Math.min(x, y, width - 1 - x, height - 1 - y);
    return inside >= 3 + ((x * 7 + y * 5) % 4) ? 1 : 0;
  };
  const covered = options.coverage ?? ragged;
  const coverage = new Float32Array(width * height).map((_, i) => covered(i % width, Math.floor(i / width)));
  const light = (tint: number): Float32Array =>
    new Float32Array(width * height).map((_, i) => {
      const away = Math.hypot((i % width) - width / 2, Math.floor(i / width) - height / 2) / (0.4 * height);
      return coverage[i]! * (away < 1 ? tint * (0.25 + 0.2 * random.uniform()) : 0.004);
    });
  const image = { width, height, planes: [light(1), light(0.95), light(0.9)] };
  const source = plateFrom(join(folder, 'raster'), image, { width, height, data: coverage });
  const converted = inPrimaries(source, colour.primaries);
  await writePlateTiff(join(folder, 'plate.tif'), converted, { bigtiff, colour, force: true });
  await writeFile(join(folder, 'preview.jpg'), 'stands for a preview');
  const sidecar = {
    format: 'plenilune-plate',
    version: 1,
    plate: {
      file: 'plate.tif',
      sha256: await sha(join(folder, 'plate.tif')),
      widthPx: width,
      heightPx: height,
      covered: 0.96,
      encoding: ENCODING_NAMES[colour.encoding],
      primaries: colour.primaries,
      alpha: options.alpha ?? 'coverage',
    },
    preview: { file: 'preview.jpg', sha256: await sha(join(folder, 'preview.jpg')), gain: 1.5 },
    files: [],
    where: { known: false, reason: 'no-site', detail: 'nobody said' },
    complete: options.complete ?? true,
    gaps: [],
    capture: { name: 'night', synthetic: options.synthetic ?? false, guide: null, calibration: [] },
    passes: [
      { placed: true, frames: times.map((time, i) => ({ file: `a/${i}.tif`, sha256: 'a'.repeat(64), time })) },
      { placed: true, frames: [] },
    ],
    leftOut: [],
    ...options.sidecar,
  };
  await writeFile(join(folder, 'plate.json'), JSON.stringify(sidecar));
  return folder;
}

async function sha(path: string): Promise<string> {
  return createHash('sha256')
    .update(await readFile(path))
    .digest('hex');
}
