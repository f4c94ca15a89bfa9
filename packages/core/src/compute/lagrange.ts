/** Positions between two pixels for which weights are kept; finer than any pose is known. */
export const LAGRANGE_PHASES = 2048;
const FIRST = -2;
const TAPS = 6;

/**
 * Weights of Lagrange's interpolation of fifth degree for the pixels from floor(x) − 2 to floor(x) + 3, at each of
 * {@link LAGRANGE_PHASES} + 1 positions. Unlike Lanczos's, which hold finer detail, they put an edge where it is: ramps stay
 * what they are, where Lanczos's shift them by up to a hundredth of a pixel, so that this is what places are measured on.
 */
export const LAGRANGE_WEIGHTS: Float64Array = makeWeights();

function makeWeights(): Float64Array {
  const table = new Float64Array((LAGRANGE_PHASES + 1) * TAPS);
  for (let i = 0; i < table.length; i++) {
    const at = Math.floor(i / TAPS) / LAGRANGE_PHASES;
    const own = FIRST + (i % TAPS);
    let weight = 1;
    for (let k = FIRST; k < FIRST + TAPS; k++) if (k !== own) weight *= (at - k) / (own - k);
    table[i] = weight;
  }
  return table;
}
