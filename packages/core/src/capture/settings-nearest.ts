/**
 * The name that was most probably meant, or `undefined` when none is near: for "did you mean" in a message. Case, dashes
 * and underscores do not count; a name that begins with what was written (`latitude`, `latitudeDeg`), or the other way
 * round, is near; else one that differs by at most a third of its letters (optimal string alignment; Damerau 1964).
 */
export function nearestName(written: string, names: Iterable<string>): string | undefined {
  const plain = fold(written);
  if (plain === '' || plain.length > LONGEST) return undefined;
  let best: string | undefined;
  let bestCost = Number.POSITIVE_INFINITY;
  for (const name of names) {
    const other = fold(name);
    if (other.length > LONGEST) continue;
    const isBeginning =
      Math.min(plain.length, other.length) >= 3 && (other.startsWith(plain) || plain.startsWith(other));
    const edits = editDistance(plain, other);
    const near = isBeginning || edits <= Math.max(1, Math.floor(Math.max(plain.length, other.length) / 3));
    // Of several beginnings the one of which least is missing.
    const cost = isBeginning ? Math.min(edits, 1.5 + edits / LONGEST / 2) : edits;
    if (near && cost < bestCost) {
      best = name;
      bestCost = cost;
    }
  }
  return best;
}

/** Longest text that is compared, in characters. */
const LONGEST = 64;

function fold(name: string): string {
  return name.toLowerCase().replace(/[-_\s]/g, '');
}

/** Letters to insert, remove, replace or swap with a neighbour (optimal string alignment; Damerau 1964). */
export function editDistance(a: string, b: string): number {
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const replaced = last[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      let least = Math.min(replaced, last[j]! + 1, row[j - 1]! + 1);
      const swapped = i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1];
      if (swapped) least = Math.min(least, beforeLast[j - 2]! + 1);
      row.push(least);
    }
    beforeLast = last;
    last = row;
  }
  return last[b.length]!;
}
