import type { Affine } from '../compute/affine.js';

/** A picture to be registered. Pixel centres are integers, x to the right, y down. */
export interface PairPicture {
  readonly width: number;
  readonly height: number;
  /** Linear light, row-major. Pixels that are not finite count as uncovered; so does a plateau at the largest value. */
  readonly data: Float32Array;
  /** Above 1/2: the pixel may be used. Leave defects, clipped pixels and what lies off the picture at 0. */
  readonly coverage?: Uint8Array | Float32Array;
  /**
   * Standard deviation of the noise, one figure or one per pixel (same units as the light); measured when left out. One
   * per pixel weighs the pixels, leaves out those where it is not finite and above 0, and needs the other picture's too.
   */
  readonly noise?: number | Float32Array;
}

/** What may move: a shift, also a turn, also a scale, also a vertical stretch after the turn. */
export type PairFreedom = 'shift' | 'rigid' | 'similarity' | 'squeezed';

/** What is known of the pose before the pictures are looked at. Its turn and scale count as far as they are free. */
export interface PairPrior {
  /** Moving px -> fixed px. */
  readonly pose: Affine;
  /** Standard deviation of that pose at the middle of the moving picture, px per axis. */
  readonly sigmaPx: number;
}

/** Options of {@link registerPair}. */
export interface PairOptions {
  /** Default 'shift'. */
  readonly freedom?: PairFreedom;
  /** Turns to search, plus or minus degrees about the expected one; 'any' is a whole turn. Default 0. */
  readonly rotationDeg?: number | 'any';
  /** Scales to search, from 1/scaleRange to scaleRange times the expected one; at least 1. Default 1. */
  readonly scaleRange?: number;
  /** What is known of the pose; without it every shift with enough overlap is searched. */
  readonly expected?: PairPrior;
  /** Least probability of being right at which a pose is given. Default 0.999. */
  readonly minProbability?: number;
}

/** The options with their defaults. */
export const PAIR_DEFAULTS: Required<Omit<PairOptions, 'expected'>> = {
  freedom: 'shift',
  rotationDeg: 0,
  scaleRange: 1,
  minProbability: 0.999,
};

/**
 * Why no pose is given.
 * - `BAD_INPUT`: sizes, planes or options that do not fit together.
 * - `EMPTY`: a picture without usable pixels.
 * - `TOO_SMALL`: a picture, or the overlap, too small to tell a match from chance.
 * - `NO_DETAIL`: a picture whose usable part is constant.
 * - `NO_OVERLAP`: nothing matches better than chance would.
 * - `AMBIGUOUS`: two poses match about equally well.
 * - `CONTRADICTED`: what matches is far from the expected pose.
 * - `UNSTABLE`: the pose found cannot be measured: least squares ran away from the lock.
 */
export type PairRefusalReason =
  | 'BAD_INPUT'
  | 'EMPTY'
  | 'TOO_SMALL'
  | 'NO_DETAIL'
  | 'NO_OVERLAP'
  | 'AMBIGUOUS'
  | 'CONTRADICTED'
  | 'UNSTABLE';

/** Names of the parameters, in the order in which the covariances keep them. */
export type PairParameter = 'shiftXPx' | 'shiftYPx' | 'rotationDeg' | 'scale' | 'squeeze';

/** A symmetric matrix over named parameters, row-major; units are products of the parameters' own. */
export interface PairCovariance {
  readonly parameters: readonly PairParameter[];
  readonly matrix: readonly number[];
}

/** A pose that was found. */
export interface PairPlaced {
  readonly placed: true;
  /** Moving px -> fixed px: what lies at (x, y) in the moving picture lies at pose·(x, y) in the fixed one. */
  readonly pose: Affine;
  /** Middle of the overlap in the moving picture, px. Turn, scale and squeeze are about this point. */
  readonly centre: { readonly x: number; readonly y: number };
  /** Where the centre lies in the fixed picture minus where it lies in the moving one, px. */
  readonly shiftXPx: number;
  readonly shiftYPx: number;
  /** x towards y, clockwise on the screen. */
  readonly rotationDeg: number;
  readonly scale: number;
  /** Vertical stretch after the turn. */
  readonly squeeze: number;
  /** Of the parameters that were free, from the noise that was measured. */
  readonly covariance: PairCovariance;
  /** The Cramér–Rao bound of the same parameters at the noise that was measured. */
  readonly bound: PairCovariance;
  /** Bounding box of the overlap in the fixed picture, px, and its area as a share of the smaller picture. */
  readonly overlap: {
    readonly x0: number;
    readonly y0: number;
    readonly x1: number;
    readonly y1: number;
    readonly share: number;
  };
  /** fixed = gain · moving + offset. */
  readonly gain: number;
  readonly offset: number;
  /** Standard deviation of fixed − gain · moving − offset per pixel. */
  readonly residualSigma: number;
  /** Normalised cross-correlation of the light over the overlap, −1..1. */
  readonly correlation: number;
  /** Probability that this is the true pose and not a chance likeness. */
  readonly probability: number;
}

/** No pose, and why. */
export interface PairRefused {
  readonly placed: false;
  readonly reason: PairRefusalReason;
  /** The cause in plain words, with the figures that decided it. */
  readonly detail: string;
  /** Probability that the best pose found would have been right. */
  readonly probability: number;
}

/** Outcome of {@link registerPair}. */
export type PairResult = PairPlaced | PairRefused;
