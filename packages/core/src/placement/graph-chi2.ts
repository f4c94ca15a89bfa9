/** Chance that χ² of `dimensions` degrees of freedom exceeds `value`: closed forms and the recursion on the degrees. */
export function chi2Tail(value: number, dimensions: number): number {
  if (!(value > 0) || dimensions < 1) return 1;
  const x = value / 2;
  const odd = dimensions % 2 === 1;
  let tail = odd ? complementaryError(Math.sqrt(x)) : Math.exp(-x);
  let term = odd ? Math.exp(-x) * Math.sqrt(x / Math.PI) * 2 : Math.exp(-x) * x;
  for (let a = odd ? 1.5 : 2; a <= dimensions / 2; a++) {
    tail += term;
    term *= x / a;
  }
  return Math.min(1, tail);
}

/** The value that χ² of `dimensions` degrees of freedom exceeds with the chance `tail` (0..1, not 0). */
export function chi2Limit(tail: number, dimensions: number): number {
  let low = 0;
  let high = 1;
  while (chi2Tail(high, dimensions) > tail && high < 1e6) high *= 2;
  for (let k = 0; k < 60; k++) {
    const middle = (low + high) / 2;
    if (chi2Tail(middle, dimensions) > tail) low = middle;
    else high = middle;
  }
  return high;
}

/** erfc(x) for x ≥ 0: series below 2, continued fraction (Lentz) above. */
function complementaryError(x: number): number {
  if (x < 2) {
    let term = x;
    let sum = x;
    for (let n = 1; Math.abs(term) > 1e-17 * sum; n++) {
      term *= (-x * x) / n;
      sum += term / (2 * n + 1);
    }
    return 1 - (2 / Math.sqrt(Math.PI)) * sum;
  }
  let fraction = 0;
  for (let k = 60; k >= 1; k--) fraction = k / 2 / (x + fraction);
  return Math.exp(-x * x) / Math.sqrt(Math.PI) / (x + fraction);
}
