/**
 * Orders names as a person would: runs of digits by their value (frame_2 before frame_10), everything else by code
 * point after Unicode normalisation, letters without regard to case. Names that agree so far are told apart by their
 * exact code units, so the order is total, and the machine's language plays no part.
 */
export function compareNames(a: string, b: string): number {
  const left = split(a);
  const right = split(b);
  for (let i = 0; i < Math.min(left.length, right.length); i++) {
    const order = comparePart(left[i]!, right[i]!);
    if (order !== 0) return order;
  }
  return left.length - right.length || compareText(a, b);
}

/** Alternating runs of text and digits. */
function split(name: string): string[] {
  return (
    name
      .normalize('NFC')
      .toLowerCase()
      .match(/[0-9]+|[^0-9]+/g) ?? []
  );
}

function comparePart(a: string, b: string): number {
  if (!isDigits(a) || !isDigits(b)) return compareText(a, b);
  const left = a.replace(/^0+(?=.)/, '');
  const right = b.replace(/^0+(?=.)/, '');
  return left.length - right.length || compareText(left, right);
}

function isDigits(part: string): boolean {
  const first = part.charCodeAt(0);
  return first >= 48 && first <= 57;
}

function compareText(a: string, b: string): number {
  if (a === b) return 0;
  return a < b ? -1 : 1;
}
