/** Row-major 3 x 3. */
export type Matrix = readonly number[];

/** a b: first b, then a. */
export function multiply(a: Matrix, b: Matrix): number[] {
  return Array.from({ length: 9 }, (_, i) => {
    const row = 3 * Math.floor(i / 3);
    return a[row]! * b[i % 3]! + a[row + 1]! * b[(i % 3) + 3]! + a[row + 2]! * b[(i % 3) + 6]!;
  });
}

/** The inverse; infinite or not a number where there is none. */
export function invert(m: Matrix): number[] {
  const [a, b, c, d, e, f, g, h, i] = m as [number, number, number, number, number, number, number, number, number];
  const det = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g);
  const adjugate = [e * i - f * h, c * h - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f];
  return [...adjugate, d * h - e * g, b * g - a * h, a * e - b * d].map((value) => value / det);
}

/** The product of a matrix and a column of three. */
export function times(m: Matrix, column: readonly number[]): number[] {
  return [0, 3, 6].map((row) => m[row]! * column[0]! + m[row + 1]! * column[1]! + m[row + 2]! * column[2]!);
}

/** Zero beside the three values. */
export function diagonal(values: readonly number[]): number[] {
  return [values[0]!, 0, 0, 0, values[1]!, 0, 0, 0, values[2]!];
}

/** Chromaticity x, y to XYZ with Y = 1. */
export function whiteXyz(x: number, y: number): number[] {
  return [x / y, 1, (1 - x - y) / y];
}

/** The linear Bradford transform, XYZ to cone responses. ICC.1:2022, annex E.3. */
const BRADFORD: Matrix = [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296];

/** XYZ as seen under one white to XYZ as seen under another, by the linear Bradford transform. */
export function adaptation(from: readonly number[], to: readonly number[]): number[] {
  const [a, b] = [times(BRADFORD, from), times(BRADFORD, to)];
  return multiply(invert(BRADFORD), multiply(diagonal(b.map((value, i) => value / a[i]!)), BRADFORD));
}
