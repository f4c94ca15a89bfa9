import {
  adaptation,
  D50_TO_SRGB,
  D50_XYZ,
  diagonal,
  invert,
  type Matrix,
  multiply,
  times,
  whiteXyz,
} from './colour-matrix.js';
import { DNG_TAG, type DngTags, numberIn } from './dng-tags.js';

/** How a camera's colours become those of linear sRGB. */
export interface CameraColour {
  /** What the camera recorded of something grey, the largest 1. */
  readonly neutral: readonly number[];
  /** From colours divided by `neutral` to linear sRGB, grey to grey; undefined where it is not known. */
  readonly matrix: Matrix | undefined;
  readonly notes: readonly string[];
}

/**
 * The white balance as shot and the matrix for it: DNG specification 1.7.1, chapter 6, mapping camera colour space to CIE
 * XYZ, by the colour matrices. Throws a plain `Error` when they are damaged.
 */
export function cameraColour(main: DngTags): CameraColour {
  const matrices = matricesOf(main);
  const asShot = main.get(DNG_TAG.AsShotNeutral);
  const [whiteX, whiteY] = main.get(DNG_TAG.AsShotWhiteXy) ?? [];
  if (matrices.length === 0) {
    const notes = ['The file does not say what its colours are; they are taken for those of sRGB.'];
    return { neutral: normalised(asShot ?? [1, 1, 1]), matrix: undefined, notes };
  }
  const notes =
    asShot === undefined && whiteX === undefined ? ['The file has no white balance; daylight is taken.'] : [];
  const white = asShot ? whiteOfNeutral(matrices, asShot) : ([whiteX ?? D50[0], whiteY ?? D50[1]] as const);
  const toCamera = matrixAt(matrices, white);
  const neutral = normalised(asShot ?? times(toCamera, whiteXyz(...white)));
  const toXyz = multiply(adaptation(whiteXyz(...white), D50_XYZ), invert(toCamera));
  const plain = multiply(multiply(D50_TO_SRGB, toXyz), diagonal(neutral));
  const sums = [0, 1, 2].map((row) => plain[3 * row]! + plain[3 * row + 1]! + plain[3 * row + 2]!);
  const matrix = multiply(diagonal(sums.map((sum) => 1 / sum)), plain);
  if (!matrix.every((value) => Math.abs(value) < 100)) throw new Error('its colour matrix spans no colours');
  return { neutral, matrix, notes };
}

const D50 = [0.3457, 0.3585] as const;

interface CalibratedMatrix {
  /** XYZ to the camera's colours. */
  readonly toCamera: Matrix;
  /** Of the light that it was measured under, K. */
  readonly temperatureK: number;
}

function matricesOf(main: DngTags): CalibratedMatrix[] {
  const balance = diagonal(main.get(DNG_TAG.AnalogBalance) ?? [1, 1, 1]);
  return PAIRS.flatMap(([colour, calibration, illuminant]) => {
    const found = main.get(colour);
    if (found === undefined) return [];
    const own = main.get(calibration) ?? diagonal([1, 1, 1]);
    if (![found, own, balance].every((matrix) => matrix.length === 9 && matrix.every(Number.isFinite))) {
      throw new Error('its colour matrix is damaged');
    }
    const temperatureK = TEMPERATURES.get(numberIn(main, illuminant, 0)) ?? 5000;
    return [{ toCamera: multiply(balance, multiply(own, found)), temperatureK }];
  });
}

const PAIRS = [
  [DNG_TAG.ColorMatrix1, DNG_TAG.CameraCalibration1, DNG_TAG.CalibrationIlluminant1],
  [DNG_TAG.ColorMatrix2, DNG_TAG.CameraCalibration2, DNG_TAG.CalibrationIlluminant2],
] as const;

/** Colour temperatures of Exif's light sources, K. */
const TEMPERATURES: ReadonlyMap<number, number> = new Map([
  [1, 5500],
  [2, 4200],
  [3, 2850],
  [4, 5500],
  [9, 5500],
  [10, 6500],
  [11, 7500],
  [12, 6400],
  [13, 5050],
  [14, 4150],
  [15, 3500],
  [17, 2856],
  [18, 4874],
  [19, 6774],
  [20, 5503],
  [21, 6504],
  [22, 7504],
  [23, 5003],
  [24, 3200],
]);

/** The white whose matrix gives the neutral: found by repeating, since the matrix depends on it. */
function whiteOfNeutral(matrices: readonly CalibratedMatrix[], neutral: readonly number[]): readonly [number, number] {
  let white: readonly [number, number] = D50;
  for (let round = 0; round < ROUNDS; round++) {
    const [x, y, z] = times(invert(matrixAt(matrices, white)), neutral) as [number, number, number];
    const sum = x + y + z;
    if (!(sum > 0 && y > 0)) throw new Error('its white balance and colour matrix contradict each other');
    white = [x / sum, y / sum];
  }
  return white;
}

const ROUNDS = 20;

/** Between two matrices by the inverse of the temperature. */
function matrixAt(matrices: readonly CalibratedMatrix[], white: readonly [number, number]): Matrix {
  const [a, b] = matrices;
  if (b === undefined || a!.temperatureK === b.temperatureK) return a!.toCamera;
  const share = (1 / temperatureOf(white) - 1 / a!.temperatureK) / (1 / b.temperatureK - 1 / a!.temperatureK);
  const t = Math.min(1, Math.max(0, share));
  return a!.toCamera.map((value, i) => value * (1 - t) + b.toCamera[i]! * t);
}

/** Correlated colour temperature, K: C. S. McCamy, Color Research & Application 17 (1992) 142. */
function temperatureOf([x, y]: readonly [number, number]): number {
  const n = (x - 0.332) / (0.1858 - y);
  const found = 449 * n ** 3 + 3525 * n ** 2 + 6823.3 * n + 5520.33;
  return Math.min(50_000, Math.max(1500, found));
}

function normalised(neutral: readonly number[]): readonly number[] {
  const most = Math.max(...neutral);
  if (neutral.length !== 3 || !neutral.every((value) => value > 0 && Number.isFinite(value)))
    throw new Error('its white balance is damaged');
  return neutral.map((value) => value / most);
}
