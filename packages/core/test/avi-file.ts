/** A picture of three channels, 8 bits each, row by row. */
export interface AviPicture {
  readonly width: number;
  readonly height: number;
  readonly rgb: Uint8Array;
}

/**
 * Bytes of an AVI file of unpacked pictures, 25 a second: RIFF with the headers `avih`, `strh`, `strf` (Microsoft's
 * AVI RIFF file reference), pictures as BGR from the bottom row up, an index at the end.
 */
export function aviFile(pictures: readonly AviPicture[]): Buffer {
  const { width, height } = pictures[0]!;
  const stride = (3 * width + 3) & ~3;
  const size = stride * height;
  const main = numbers([40_000, 25 * size, 0, 0x10, pictures.length, 0, 1, size, width, height, 0, 0, 0, 0]);
  const stream = Buffer.concat([
    Buffer.from('vidsDIB '),
    numbers([0, 0, 0, 1, 25, 0, pictures.length, size, 0, 0, 0, 0]),
  ]);
  const format = numbers([40, width, height, 0x00180001, 0, size, 0, 0, 0, 0]);
  const streams = list('strl', [chunk('strh', stream), chunk('strf', format)]);
  const headers = list('hdrl', [chunk('avih', main), streams]);
  const movie = list(
    'movi',
    pictures.map((picture) => chunk('00db', bottomUp(picture, stride))),
  );
  const entries = pictures.map((_, i) =>
    Buffer.concat([Buffer.from('00db'), numbers([0x10, 4 + i * (size + 8), size])]),
  );
  const body = Buffer.concat([Buffer.from('AVI '), headers, movie, chunk('idx1', Buffer.concat(entries))]);
  return chunk('RIFF', body);
}

function bottomUp({ width, height, rgb }: AviPicture, stride: number): Buffer {
  const out = Buffer.alloc(stride * height);
  for (let y = 0; y < height; y++) {
    for (let i = 0; i < 3 * width; i++) {
      const channel = i % 3;
      out[(height - 1 - y) * stride + i - channel + 2 - channel] = rgb[3 * width * y + i]!;
    }
  }
  return out;
}

function chunk(name: string, body: Buffer): Buffer {
  return Buffer.concat([Buffer.from(name), numbers([body.length]), body, Buffer.alloc(body.length & 1)]);
}

function list(name: string, parts: readonly Buffer[]): Buffer {
  return chunk('LIST', Buffer.concat([Buffer.from(name), ...parts]));
}

function numbers(values: readonly number[]): Buffer {
  const out = Buffer.alloc(4 * values.length);
  for (const [i, value] of values.entries()) out.writeUInt32LE(value, 4 * i);
  return out;
}
