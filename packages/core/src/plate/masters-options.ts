import { join } from 'node:path';
import { UsageError } from '../job/errors.js';
import { BACKGROUNDS, type Background } from './background.js';
import type { CropRequest } from './crop.js';
import type { ExrSamples } from './exr-layout.js';
import {
  MASTER_ENCODINGS,
  MASTER_PRIMARIES,
  type MasterColour,
  type MasterEncoding,
  type MasterPrimaries,
  oneOf,
  SRGB_COLOUR,
} from './master-colour.js';
import { zoomFolder } from './zoom-tiles.js';

/** What is written besides `plate.tif` and `preview.jpg`, and how their colours are. */
export interface MasterOptions {
  /** Curve of the 16-bit files. Default `srgb`. Float files are linear. */
  readonly encoding?: MasterEncoding;
  /** Primaries of all masters. Default `bt709`. */
  readonly primaries?: MasterPrimaries;
  /** What becomes of the light of the sky, around the disc and on it. Default `keep`. */
  readonly background?: Background;
  /** Write `plate.exr` with samples of this kind. Default: none. */
  readonly exr?: ExrSamples;
  /** Write `plate-float.tif`. Default false. */
  readonly floatTiff?: boolean;
  /** Write `matte.tif`. Default false. */
  readonly matte?: boolean;
  /** Write deep-zoom tiles, `plate.dzi` and `plate_files`. Default false. */
  readonly zoomTiles?: boolean;
  /** Write frames at the plate's own scale, `crop-WIDTHxHEIGHT`. Default none. */
  readonly crops?: readonly CropRequest[];
  /** What kind of files crops are. Default `tif`. */
  readonly cropFormat?: CropFormat;
}

/** A kind of file for crops. */
export type CropFormat = 'tif' | 'png';

/** {@link MasterOptions} that were checked, with what was not said. */
export interface MasterSettings {
  readonly colour: MasterColour;
  readonly background: Background;
  readonly exr: ExrSamples | null;
  readonly floatTiff: boolean;
  readonly matte: boolean;
  readonly zoomTiles: boolean;
  readonly crops: readonly (CropRequest & { readonly file: string })[];
  readonly cropFormat: CropFormat;
}

const EXR_SAMPLES = ['half', 'float'] as const;
const CROP_FORMATS: readonly CropFormat[] = ['tif', 'png'];
/** Longest side of a crop, px. */
const LARGEST_CROP_PX = 65535;

/** Checks the options; throws {@link UsageError} that names the nearest valid value. */
export function settleMasters(options: MasterOptions = {}): MasterSettings {
  const { encoding = SRGB_COLOUR.encoding, primaries = SRGB_COLOUR.primaries, exr, cropFormat = 'tif' } = options;
  const format = oneOf('format of crops', cropFormat, CROP_FORMATS);
  return {
    colour: {
      encoding: oneOf('encoding of masters', encoding, MASTER_ENCODINGS),
      primaries: oneOf('set of primaries', primaries, MASTER_PRIMARIES),
    },
    background: oneOf('background', options.background ?? 'keep', BACKGROUNDS),
    exr: exr === undefined ? null : oneOf('kind of OpenEXR samples', exr, EXR_SAMPLES),
    floatTiff: options.floatTiff ?? false,
    matte: options.matte ?? false,
    zoomTiles: options.zoomTiles ?? false,
    crops: namedCrops(options.crops ?? [], format),
    cropFormat: format,
  };
}

/** `crop-WxH`, and a number where there are several of a size. */
function namedCrops(crops: readonly CropRequest[], format: CropFormat): MasterSettings['crops'] {
  const times = new Map<string, number>();
  return crops.map((crop) => {
    const { widthPx, heightPx } = crop;
    for (const side of [widthPx, heightPx]) {
      if (!Number.isInteger(side) || side < 1 || side > LARGEST_CROP_PX) {
        throw new UsageError(
          `a crop of ${widthPx}x${heightPx} is no frame; give whole sides of 1 to ${LARGEST_CROP_PX} px`,
        );
      }
    }
    const name = `crop-${widthPx}x${heightPx}`;
    const nth = (times.get(name) ?? 0) + 1;
    times.set(name, nth);
    return { ...crop, file: `${name}${nth === 1 ? '' : `-${nth}`}.${format}` };
  });
}

/** Every path that the settings make, but for plate and preview. */
export function masterPaths(outDir: string, settings: MasterSettings): string[] {
  const files = [
    ...(settings.exr ? [EXR_FILE] : []),
    ...(settings.floatTiff ? [FLOAT_FILE] : []),
    ...(settings.matte ? [MATTE_FILE] : []),
    ...settings.crops.map((crop) => crop.file),
    ...(settings.zoomTiles ? [ZOOM_FILE] : []),
  ];
  return [...files, ...(settings.zoomTiles ? [zoomFolder(ZOOM_FILE)] : [])].map((file) => join(outDir, file));
}

/** Names of the files beside the plate. */
export const EXR_FILE = 'plate.exr';
export const FLOAT_FILE = 'plate-float.tif';
export const MATTE_FILE = 'matte.tif';
export const ZOOM_FILE = 'plate.dzi';
