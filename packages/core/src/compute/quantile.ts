/**
 * The value below which a share `q` (0 to 1) of the values lies, interpolated linearly between order statistics
 * (Hyndman & Fan's type 7). NaN for an empty list. NaN counts as above all values; they are not reordered.
 */
export function quantile(values: Float32Array | Float64Array | readonly number[], q: number): number {
  if (values.length === 0) return Number.NaN;
  const own = values instanceof Float32Array ? values.slice() : Float64Array.from(values);
  const position = Math.min(1, Math.max(0, q)) * (own.length - 1);
  const below = Math.floor(position);
  partition(own, below);
  const low = own[below]!;
  let high = below + 1 < own.length ? own[below + 1]! : low;
  for (let i = below + 2; i < own.length; i++) if (own[i]! < high) high = own[i]!;
  return low + (position - below) * (high - low);
}

/** The value that sorting puts at `rank`, NaN where there is none; reorders the values, and is quicker than sorting them. */
export function valueAtRank(values: Float32Array | Float64Array, rank: number): number {
  partition(values, rank);
  return values[rank] ?? Number.NaN;
}

/** Below this many values sorting them is as quick. */
const FEW = 64;

/**
 * Reorders values so that the one at `k` is where sorting puts it, none before it is larger and none behind it is smaller
 * (Hoare 1961, doi 10.1145/366622.366647).
 */
function partition(values: Float32Array | Float64Array, k: number): void {
  for (let i = 0; i < values.length; i++) {
    // What is no number compares with nothing; sorting puts it last.
    if (Number.isNaN(values[i])) {
      values.sort();
      return;
    }
  }
  let from = 0;
  let to = values.length - 1;
  for (let rounds = 0; to - from > FEW; rounds++) {
    // Orders that always part badly are sorted after all.
    if (rounds > 2 * Math.log2(values.length)) break;
    const pivot = middleOf(values[from]!, values[(from + to) >> 1]!, values[to]!);
    let i = from;
    let j = to;
    while (i <= j) {
      while (values[i]! < pivot) i++;
      while (values[j]! > pivot) j--;
      if (i > j) break;
      const kept = values[i]!;
      values[i++] = values[j]!;
      values[j--] = kept;
    }
    if (k <= j) to = j;
    else if (k >= i) from = i;
    else return;
  }
  values.subarray(from, to + 1).sort();
}

function middleOf(a: number, b: number, c: number): number {
  return Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
}
