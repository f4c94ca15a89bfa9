/**
 * The value below which a share `q` (0 to 1) of the values lies, interpolated linearly between order statistics
 * (Hyndman & Fan's type 7). NaN for an empty list. The values must not hold NaN; they are not reordered.
 */
export function quantile(values: Float32Array | Float64Array | readonly number[], q: number): number {
  if (values.length === 0) return Number.NaN;
  const sorted = values instanceof Float32Array ? values.slice().sort() : Float64Array.from(values).sort();
  const position = Math.min(1, Math.max(0, q)) * (sorted.length - 1);
  const below = Math.floor(position);
  const above = Math.min(sorted.length - 1, below + 1);
  return sorted[below]! + (position - below) * (sorted[above]! - sorted[below]!);
}
