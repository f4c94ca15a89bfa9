/** A lossless JPEG (ITU-T T.81, process 14) of samples row by row, components side by side, for tests of its decoder. */
export function losslessJpeg(
  samples: Uint16Array,
  { width, height, components, predictor, precision = 16, restartRows = 0 }: JpegShape,
): Buffer {
  const head: number[] = [0xff, 0xd8];
  // Every size gets a code of five bits: 0 to 16.
  head.push(0xff, 0xc4, 0, 2 + 17 + 17, 0, 0, 0, 0, 0, 17, ...new Array<number>(11).fill(0), ...Array(17).keys());
  if (restartRows > 0) head.push(0xff, 0xdd, 0, 4, (restartRows * width) >> 8, (restartRows * width) & 255);
  const parts = Array.from({ length: components }, (_, c) => [c + 1, 0x11, 0]);
  head.push(0xff, 0xc3, 0, 8 + 3 * components, precision, height >> 8, height & 255, width >> 8, width & 255);
  head.push(components, ...parts.flat(), 0xff, 0xda, 0, 6 + 2 * components, components);
  head.push(...parts.flatMap(([id]) => [id!, 0]), predictor, 0, 0);
  const out: number[] = [];
  let [held, count] = [0, 0];
  const put = (value: number, bits: number): void => {
    for (let b = bits - 1; b >= 0; b--) {
      held = held * 2 + ((value >> b) & 1);
      if (++count < 8) continue;
      out.push(held, ...(held === 255 ? [0] : []));
      [held, count] = [0, 0];
    }
  };
  const flush = (): void => {
    while (count > 0) put(1, 1);
  };
  const at = (x: number, y: number, c: number): number => samples[(y * width + x) * components + c]!;
  for (let y = 0; y < height; y++) {
    const first = restartRows > 0 ? y % restartRows === 0 : y === 0;
    if (first && y > 0) {
      flush();
      out.push(0xff, 0xd0 + ((y / restartRows - 1) & 7));
    }
    for (let x = 0; x < width; x++) {
      for (let c = 0; c < components; c++) {
        const [a, b, d] = [
          x > 0 ? at(x - 1, y, c) : 0,
          y > 0 ? at(x, y - 1, c) : 0,
          x > 0 && y > 0 ? at(x - 1, y - 1, c) : 0,
        ];
        const inner = [0, a, b, d, a + b - d, a + ((b - d) >> 1), b + ((a - d) >> 1), (a + b) >> 1][predictor]!;
        const expected = first ? (x === 0 ? 1 << (precision - 1) : a) : x === 0 ? b : inner;
        const difference = ((at(x, y, c) - expected + 32_768) & 0xffff) - 32_768;
        if (difference === -32_768) {
          put(16, 5);
          continue;
        }
        const size = 32 - Math.clz32(Math.abs(difference));
        put(size, 5);
        put(difference < 0 ? difference + (1 << size) - 1 : difference, size);
      }
    }
  }
  flush();
  return Buffer.from([...head, ...out, 0xff, 0xd9]);
}

export interface JpegShape {
  readonly width: number;
  readonly height: number;
  readonly components: number;
  readonly predictor: number;
  readonly precision?: number;
  readonly restartRows?: number;
}
