import { PAIR_DEFAULTS, type PairOptions, type PairPicture, type PairRefused } from './pair-types.js';

/** What is wrong with the arguments, in plain words, or undefined. Looks at sizes and options, not at pixels. */
export function pairFault(fixed: PairPicture, moving: PairPicture, options: PairOptions): string | undefined {
  return (
    pictureFault('fixed', fixed) ?? pictureFault('moving', moving) ?? noiseFault(fixed, moving) ?? optionsFault(options)
  );
}

/** A refusal. */
export function refuse(reason: PairRefused['reason'], detail: string, probability = 0): PairRefused {
  return { placed: false, reason, detail, probability };
}

function pictureFault(name: string, picture: PairPicture): string | undefined {
  const { width, height, data, coverage, noise } = picture;
  if (!Number.isInteger(width) || !Number.isInteger(height) || width < 1 || height < 1)
    return `${name}: width and height must be whole numbers of at least 1, got ${width} x ${height}`;
  const n = width * height;
  if (data?.length !== n) return `${name}: expected ${n} pixels for ${width} x ${height}, got ${data?.length}`;
  if (coverage && coverage.length !== n) return `${name}: expected a coverage of ${n} pixels, got ${coverage.length}`;
  if (typeof noise === 'object' && noise.length !== n)
    return `${name}: expected a noise of ${n} pixels, got ${noise.length}`;
  if (typeof noise === 'number' && !(noise > 0 && noise < Infinity))
    return `${name}: the noise must be finite and above 0, got ${noise}`;
  return undefined;
}

function noiseFault(fixed: PairPicture, moving: PairPicture): string | undefined {
  if ((typeof fixed.noise === 'object' && !moving.noise) || (typeof moving.noise === 'object' && !fixed.noise))
    return 'a noise per pixel in one picture needs the noise of the other, one figure or one per pixel';
  return undefined;
}

function optionsFault(options: PairOptions): string | undefined {
  const { freedom = PAIR_DEFAULTS.freedom, rotationDeg = 0, scaleRange = 1, expected } = options;
  const { minProbability = PAIR_DEFAULTS.minProbability } = options;
  if (!['shift', 'rigid', 'similarity', 'squeezed'].includes(freedom)) return `unknown freedom ${String(freedom)}`;
  if (rotationDeg !== 'any' && !(rotationDeg >= 0 && rotationDeg <= 180))
    return `rotationDeg must be from 0 to 180 or 'any', got ${rotationDeg}`;
  if (!(scaleRange >= 1 && scaleRange <= 4)) return `scaleRange must be from 1 to 4, got ${scaleRange}`;
  if (freedom === 'shift' && (rotationDeg !== 0 || scaleRange !== 1))
    return "a freedom of 'shift' leaves no turn and no scale to search";
  if (freedom === 'rigid' && scaleRange !== 1) return "a freedom of 'rigid' leaves no scale to search";
  if (!(minProbability >= 0 && minProbability < 1)) return `minProbability must be in [0, 1), got ${minProbability}`;
  if (!expected) return undefined;
  if (!(expected.sigmaPx > 0 && expected.sigmaPx < Infinity))
    return `expected.sigmaPx must be finite and above 0, got ${expected.sigmaPx}`;
  const { xx, xy, yx, yy, tx, ty } = expected.pose;
  const det = xx * yy - xy * yx;
  if (![xx, xy, yx, yy, tx, ty].every(Number.isFinite) || !(det > 0.01 && det < 100))
    return 'expected.pose must be finite, without a mirror, and of a scale from 0.1 to 10';
  return undefined;
}
