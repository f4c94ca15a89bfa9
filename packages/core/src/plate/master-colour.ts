import { adaptation, D50_XYZ, type Matrix, multiply, whiteXyz } from '../capture/colour-matrix.js';
import { chromaticitiesOf, fromSrgb, rgbToXyz } from '../capture/primaries.js';
import { nearestName } from '../capture/settings-nearest.js';
import { UsageError } from '../job/errors.js';
import type { CodeCurve } from './encode.js';
import { displayProfile, srgbProfile } from './icc.js';
import type { PlateSource } from './plate-source.js';

/** Curves that a master's codes can follow; float masters are linear whatever is chosen. */
export const MASTER_ENCODINGS: readonly MasterEncoding[] = ['srgb', 'linear', 'bt709', 'bt1886'];

/** Primaries of a master, with their white: D65, but for the two of ACES (SMPTE ST 2065-1, AMPAS S-2014-004). */
export const MASTER_PRIMARIES: readonly MasterPrimaries[] = ['bt709', 'p3', 'bt2020', 'aces-ap0', 'aces-ap1'];

/** Name of a curve. */
export type MasterEncoding = 'srgb' | 'linear' | 'bt709' | 'bt1886';
/** Name of a set of primaries. */
export type MasterPrimaries = 'bt709' | 'p3' | 'bt2020' | 'aces-ap0' | 'aces-ap1';

/** How the colours of a master are to be read. */
export interface MasterColour {
  readonly encoding: MasterEncoding;
  readonly primaries: MasterPrimaries;
}

/** What a master has when nothing is said. */
export const SRGB_COLOUR: MasterColour = { encoding: 'srgb', primaries: 'bt709' };

/** What a sidecar calls the curves. */
export const ENCODING_NAMES: Readonly<Record<MasterEncoding, 'sRGB' | 'linear' | 'BT.709' | 'BT.1886'>> = {
  srgb: 'sRGB',
  linear: 'linear',
  bt709: 'BT.709',
  bt1886: 'BT.1886',
};

const ENCODING_TITLES: Readonly<Record<CodeCurve, string>> = {
  srgb: 'sRGB curve',
  linear: 'linear',
  bt709: 'BT.709 camera curve',
  bt1886: 'BT.1886',
};
const PRIMARIES_TITLES: Readonly<Record<MasterPrimaries, string>> = {
  bt709: 'BT.709',
  p3: 'P3 D65',
  bt2020: 'BT.2020',
  'aces-ap0': 'ACES AP0',
  'aces-ap1': 'ACES AP1',
};

/** A colour in words, such as `sRGB` or `ACES AP1, linear`: what its profile is called, but for sRGB's longer name. */
export function colourName({ encoding, primaries }: MasterColour): string {
  if (encoding === 'srgb' && primaries === 'bt709') return 'sRGB';
  return `${PRIMARIES_TITLES[primaries]}, ${ENCODING_TITLES[encoding]}`;
}

/** The one of `names` that was given. Throws {@link UsageError} that names the nearest one, and all. */
export function oneOf<Name extends string>(what: string, given: string, names: readonly Name[]): Name {
  const found = names.find((name) => name === given);
  if (found !== undefined) return found;
  const near = nearestName(given, names);
  const hint = near === undefined ? '' : ` (did you mean "${near}"?)`;
  throw new UsageError(`"${given}" is no ${what}${hint}; choose one of ${names.join(', ')}`);
}

/** An ICC profile of a colour: the same bytes every time. */
export function profileOf(colour: MasterColour): Buffer {
  const { encoding, primaries } = colour;
  if (encoding === 'srgb' && primaries === 'bt709') return srgbProfile();
  const points = chromaticitiesOf(primaries);
  const [x, y] = points[3];
  const adapt = adaptation(whiteXyz(x, y), D50_XYZ);
  return displayProfile(colourName(colour), encoding, multiply(adapt, rgbToXyz(points)), adapt);
}

/**
 * A plate in other primaries: linear light of BT.709 by a matrix, with the linear Bradford transform where the white
 * differs. Grey stays as it is. Colours outside come out below 0.
 */
export function inPrimaries(source: PlateSource, primaries: MasterPrimaries): PlateSource {
  if (primaries === 'bt709' || source.channels !== 3) return source;
  const matrix = fromSrgb(chromaticitiesOf(primaries));
  return {
    ...source,
    read: (box) => {
      const { image, coverage } = source.read(box);
      return { image: { ...image, planes: converted(image.planes, matrix) }, coverage };
    },
  };
}

function converted(planes: readonly Float32Array[], m: Matrix): Float32Array[] {
  const [red, green, blue] = planes as [Float32Array, Float32Array, Float32Array];
  const out = planes.map((plane) => new Float32Array(plane.length));
  out.forEach((plane, row) => {
    const [a, b, c] = [m[3 * row]!, m[3 * row + 1]!, m[3 * row + 2]!];
    for (let i = 0; i < plane.length; i++) plane[i] = a * red[i]! + b * green[i]! + c * blue[i]!;
  });
  return out;
}
