import { invertSymmetric } from '../compute/small-solve.js';
import type { PairCovariance, PairFreedom, PairParameter } from './pair-types.js';

/** What the bound is reckoned from. */
export interface ShiftBoundInput {
  readonly width: number;
  readonly height: number;
  /** Derivatives of the noise-free scene per pixel over the overlap, width × height, 0 where nothing may be used. */
  readonly gradientX: Float32Array;
  readonly gradientY: Float32Array;
  /** Standard deviation of the noise in either picture. */
  readonly sigmaFixed: number;
  readonly sigmaMoving: number;
  /** Default 'shift'. */
  readonly freedom?: PairFreedom;
  /** Point about which the picture turns, px; default the middle. */
  readonly centre?: { readonly x: number; readonly y: number };
}

/**
 * Cramér–Rao bound of the pose between two pictures of one scene (Robinson & Milanfar 2004,
 * doi 10.1109/TIP.2004.832923): inverse of Σ (∂f/∂p)(∂f/∂q)/(σ₁² + σ₂²), with ∂f/∂turn = x·f_y − y·f_x and so on.
 * Parameters in px, degrees and plain factors about the centre, at a pose near the identity. Undefined when the
 * gradients do not fix the parameters.
 */
export function shiftBound(input: ShiftBoundInput): PairCovariance | undefined {
  const { width, height, gradientX, gradientY, freedom = 'shift' } = input;
  const cx = input.centre?.x ?? (width - 1) / 2;
  const cy = input.centre?.y ?? (height - 1) / 2;
  const parameters = PAIR_PARAMETERS[freedom];
  const n = parameters.length;
  const variance = input.sigmaFixed ** 2 + input.sigmaMoving ** 2;
  const information = new Float64Array(n * n);
  const row = new Float64Array(n);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const gx = gradientX[y * width + x]!;
      const gy = gradientY[y * width + x]!;
      row[0] = gx;
      row[1] = gy;
      if (n > 2) row[2] = (((x - cx) * gy - (y - cy) * gx) * Math.PI) / 180;
      if (n > 3) row[3] = (x - cx) * gx + (y - cy) * gy;
      if (n > 4) row[4] = (y - cy) * gy;
      for (let j = 0; j < n; j++) for (let k = 0; k < n; k++) information[j * n + k]! += row[j]! * row[k]!;
    }
  }
  const inverse = invertSymmetric(information, n);
  if (!inverse || !(variance >= 0)) return undefined;
  return { parameters, matrix: Array.from(inverse, (v) => v * variance) };
}

/** The parameters that each freedom leaves free, in the order of the covariances. */
export const PAIR_PARAMETERS: Readonly<Record<PairFreedom, readonly PairParameter[]>> = {
  shift: ['shiftXPx', 'shiftYPx'],
  rigid: ['shiftXPx', 'shiftYPx', 'rotationDeg'],
  similarity: ['shiftXPx', 'shiftYPx', 'rotationDeg', 'scale'],
  squeezed: ['shiftXPx', 'shiftYPx', 'rotationDeg', 'scale', 'squeeze'],
};
