/**
 * Pearson's correlation of two quantities from their weighted sums: of the weights, of each, of their squares and of
 * their products. 0 when either does not vary.
 */
export function correlationFromSums(n: number, sa: number, sb: number, saa: number, sbb: number, sab: number): number {
  const va = saa - (sa * sa) / Math.max(1, n);
  const vb = sbb - (sb * sb) / Math.max(1, n);
  return va > 0 && vb > 0 ? (sab - (sa * sb) / n) / Math.sqrt(va * vb) : 0;
}
