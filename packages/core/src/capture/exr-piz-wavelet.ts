/**
 * Undoes the wavelet of PIZ in place, on every `stepX`-th word of rows that are `stepY` words apart, from the word `start`
 * on. Exact: sums and differences in 14 bits where the largest value allows, else modulo 2^16. "Technical Introduction to
 * OpenEXR", PIZ.
 */
export function undoWavelet(
  words: Uint16Array,
  start: number,
  width: number,
  stepX: number,
  height: number,
  stepY: number,
  largest: number,
): void {
  const undo = largest < 1 << 14 ? undoPair14 : undoPair16;
  const least = Math.min(width, height);
  let near = 1;
  while (near <= least) near <<= 1;
  near >>= 1;
  let far = near;
  near >>= 1;
  for (; near >= 1; far = near, near >>= 1) {
    const [rightStep, downStep] = [near * stepX, near * stepY];
    let y = 0;
    for (; y + far <= height; y += far) {
      const row = start + y * stepY;
      let x = 0;
      for (; x + far <= width; x += far) {
        const a = row + x * stepX;
        const c = a + downStep;
        undo(words, a, c);
        undo(words, a + rightStep, c + rightStep);
        undo(words, a, a + rightStep);
        undo(words, c, c + rightStep);
      }
      if ((width & near) !== 0) undo(words, row + x * stepX, row + x * stepX + downStep);
    }
    if ((height & near) !== 0) {
      const row = start + y * stepY;
      for (let x = 0; x + far <= width; x += far) undo(words, row + x * stepX, row + x * stepX + rightStep);
    }
  }
}

/** Mean and difference, both signed, to the two values. */
function undoPair14(words: Uint16Array, a: number, b: number): void {
  const mean = (words[a]! << 16) >> 16;
  const difference = (words[b]! << 16) >> 16;
  const first = mean + (difference & 1) + (difference >> 1);
  words[a] = first;
  words[b] = first - difference;
}

/** The same modulo 2^16, where the mean is kept about half the range. */
function undoPair16(words: Uint16Array, a: number, b: number): void {
  const mean = words[a]!;
  const difference = words[b]!;
  const second = (mean - (difference >> 1)) & 0xffff;
  words[b] = second;
  words[a] = (difference + second - 0x8000) & 0xffff;
}
