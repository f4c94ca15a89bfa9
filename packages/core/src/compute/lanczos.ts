/** Half width of the kernel, px. */
export const LANCZOS_RADIUS = 3;
/** Taps in one direction. */
export const LANCZOS_TAPS: number = 2 * LANCZOS_RADIUS;
/** Positions between two pixels for which weights are kept; finer than any pose is known. */
export const LANCZOS_PHASES = 2048;

/**
 * Weights of the Lanczos kernel sinc(x)·sinc(x/3) (Duchon 1979) for each of {@link LANCZOS_PHASES} + 1 positions,
 * `LANCZOS_TAPS` each, for the pixels from floor(x) − 2 to floor(x) + 3; every set adds up to 1, so that flat light
 * stays flat.
 */
export const LANCZOS_WEIGHTS: Float64Array = makeWeights();

function makeWeights(): Float64Array {
  const table = new Float64Array((LANCZOS_PHASES + 1) * LANCZOS_TAPS);
  for (let phase = 0; phase <= LANCZOS_PHASES; phase++) {
    const fraction = phase / LANCZOS_PHASES;
    let sum = 0;
    for (let tap = 0; tap < LANCZOS_TAPS; tap++) {
      const w = lanczos(tap - (LANCZOS_RADIUS - 1) - fraction);
      table[phase * LANCZOS_TAPS + tap] = w;
      sum += w;
    }
    for (let tap = 0; tap < LANCZOS_TAPS; tap++) table[phase * LANCZOS_TAPS + tap]! /= sum;
  }
  return table;
}

function lanczos(x: number): number {
  if (Math.abs(x) >= LANCZOS_RADIUS) return 0;
  return sinc(x) * sinc(x / LANCZOS_RADIUS);
}

function sinc(x: number): number {
  return Math.abs(x) < 1e-12 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x);
}
