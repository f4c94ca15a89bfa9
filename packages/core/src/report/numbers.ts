/** A number with as many decimals, and a true minus. */
export function decimals(value: number, digits: number): string {
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace('-', '') : text).replace('-', '\u2212');
}

/** Three digits that count. */
export function threeDigits(value: number): string {
  if (value === 0) return '0';
  return decimals(value, Math.min(6, Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value))))));
}

/** "98.8 %" */
export function percent(share: number, digits = 1): string {
  return `${decimals(100 * share, digits)}\u202f%`;
}

/** "1 frame", "2 frames" */
export function count(number: number, one: string, many: string): string {
  return `${number} ${number === 1 ? one : many}`;
}

/** "17.3 MB" */
export function megabytes(bytes: number): string {
  return `${threeDigits(bytes / 1e6)} MB`;
}

/** A place in an SVG, to a tenth. */
export function tenth(value: number): number {
  return Math.round(10 * value) / 10;
}

/** Round values from `low` to `high`, about as many as asked for: 1, 2 or 5 times a power of ten apart. */
export function ticksOf(
  low: number,
  high: number,
  about: number,
): { readonly values: number[]; readonly digits: number } {
  const raw = (high - low) / about;
  const power = Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * 10 ** power).find((s) => s >= raw * 0.999)!;
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  const values = Array.from({ length: last - first + 1 }, (_, k) => (first + k) * step);
  return { values, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}
