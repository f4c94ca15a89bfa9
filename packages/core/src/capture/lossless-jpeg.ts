/** Decoded samples of a lossless JPEG, row by row, the components of a pixel side by side. */
export interface LosslessJpeg {
  readonly width: number;
  readonly height: number;
  readonly components: number;
  readonly samples: Uint16Array;
}

interface Frame {
  readonly width: number;
  readonly height: number;
  readonly components: number;
  readonly precision: number;
}

/** Of 16 bits that come next: the code's length in the upper byte, the number of bits that follow it in the lower. */
type CodeTable = Uint16Array;

/**
 * Decodes a lossless JPEG by Huffman codes (ITU-T T.81, process 14, annex H) with any predictor and up to 4 components of
 * 2 to 16 bits that are not subsampled. Throws a plain `Error` when it is damaged, cut short or larger than `most` samples.
 */
export function decodeLosslessJpeg(bytes: Uint8Array, most: number): LosslessJpeg {
  const word = (at: number): number => {
    if (at + 2 > bytes.length) throw cutShort();
    return bytes[at]! * 256 + bytes[at + 1]!;
  };
  if (word(0) !== 0xffd8) throw new Error('a block of its samples is not JPEG');
  const tables = new Map<number, CodeTable>();
  let frame: Frame | undefined;
  let restart = 0;
  for (let at = 2; ; ) {
    const marker = word(at);
    const length = word(at + 2);
    const body = bytes.subarray(at + 4, at + 2 + length);
    if (marker >> 8 !== 0xff || length < 2 || at + 2 + length > bytes.length) throw cutShort();
    at += 2 + length;
    if (marker === DEFINE_CODES) readTables(body, tables);
    else if (marker === DEFINE_RESTART) restart = word(at - 2);
    else if (marker === LOSSLESS_FRAME) frame = readFrame(body, most);
    else if (marker === START_OF_SCAN) return decodeScan(bytes.subarray(at), body, frame, tables, restart);
    else if (marker >= 0xffc0 && marker <= 0xffcf)
      throw new Error('a block of its samples is JPEG of a kind that is not lossless');
  }
}

const LOSSLESS_FRAME = 0xffc3;
const DEFINE_CODES = 0xffc4;
const START_OF_SCAN = 0xffda;
const DEFINE_RESTART = 0xffdd;

function cutShort(): Error {
  return new Error('a block of its samples is damaged or cut short');
}

function readFrame(body: Uint8Array, most: number): Frame {
  const [precision = 0, h1 = 0, h0 = 0, w1 = 0, w0 = 0, components = 0] = body;
  const [width, height] = [w1 * 256 + w0, h1 * 256 + h0];
  if (body.length < 6 + 3 * components || components < 1 || components > 4) throw cutShort();
  if (precision < 2 || precision > 16 || width < 1 || height < 1) throw cutShort();
  if (width * height * components > most) throw new Error('a block of its samples is larger than the file says');
  for (let c = 0; c < components; c++) {
    if (body[7 + 3 * c] !== 0x11) throw new Error('a block of its samples has fewer of one component than of another');
  }
  return { width, height, components, precision };
}

/** T.81, annex C: codes of each length follow one another. */
function readTables(body: Uint8Array, into: Map<number, CodeTable>): void {
  for (let at = 0; at < body.length; ) {
    const id = body[at]!;
    const lengths = body.subarray(at + 1, at + 17);
    const count = lengths.reduce((sum, n) => sum + n, 0);
    const values = body.subarray(at + 17, at + 17 + count);
    if (lengths.length < 16 || values.length < count) throw cutShort();
    const table = new Uint16Array(65_536);
    let [code, v] = [0, 0];
    for (let bits = 1; bits <= 16; bits++) {
      for (let i = 0; i < lengths[bits - 1]!; i++, v++, code += 1 << (16 - bits)) {
        if (code >= 65_536 || values[v]! > 16) throw cutShort();
        table.fill((bits << 8) | values[v]!, code, code + (1 << (16 - bits)));
      }
    }
    into.set(id, table);
    at += 17 + count;
  }
}

function decodeScan(
  data: Uint8Array,
  header: Uint8Array,
  frame: Frame | undefined,
  tables: ReadonlyMap<number, CodeTable>,
  restart: number,
): LosslessJpeg {
  const [count = 0] = header;
  if (!frame || count !== frame.components || header.length < 4 + 2 * count) throw cutShort();
  const predictor = header[1 + 2 * count]!;
  const shift = header[3 + 2 * count]! & 15;
  const codes = Array.from({ length: count }, (_, c) => tables.get(header[2 + 2 * c]! >> 4));
  if (codes.includes(undefined) || predictor < 1 || predictor > 7 || shift >= frame.precision) throw cutShort();
  const { width, height, precision } = frame;
  const row = width * count;
  const samples = new Uint16Array(row * height);
  const bits = bitReader(data);
  const first = 1 << (precision - shift - 1);
  let fresh = true;
  for (let y = 0, at = 0, pixel = 0; y < height; y++) {
    for (let x = 0; x < width; x++, pixel++) {
      if (restart > 0 && pixel > 0 && pixel % restart === 0) {
        bits.restart();
        fresh = true;
      }
      for (let c = 0; c < count; c++, at++) {
        let expected: number;
        if (fresh) expected = first;
        else if (y === 0 || (restart > 0 && pixel % restart < width)) expected = samples[at - count]!;
        else if (x === 0) expected = samples[at - row]!;
        else expected = predict(predictor, samples[at - count]!, samples[at - row]!, samples[at - row - count]!);
        samples[at] = expected + bits.difference(codes[c]!);
      }
      fresh = false;
    }
  }
  if (bits.exhausted()) throw cutShort();
  if (shift > 0) for (let i = 0; i < samples.length; i++) samples[i]! <<= shift;
  return { width, height, components: count, samples };
}

/** T.81, table H.1: from the neighbours at the left, above, and above at the left. */
function predict(predictor: number, a: number, b: number, c: number): number {
  switch (predictor) {
    case 1:
      return a;
    case 2:
      return b;
    case 3:
      return c;
    case 4:
      return a + b - c;
    case 5:
      return a + ((b - c) >> 1);
    case 6:
      return b + ((a - c) >> 1);
    default:
      return (a + b) >> 1;
  }
}

/** Reads codes bit by bit; a zero behind 255 is not part of them, and behind the end come zeros. */
function bitReader(data: Uint8Array) {
  let [at, held, count, missing] = [0, 0, 0, 0];
  const fill = (): void => {
    while (count <= 16) {
      let byte = data[at] ?? 0;
      const marker = byte === 255 && data[at + 1] !== 0;
      if (at >= data.length || marker) {
        byte = 0;
        missing++;
      } else {
        at += byte === 255 ? 2 : 1;
      }
      held = ((held << 8) | byte) & 0x1ffffff;
      count += 8;
    }
  };
  return {
    /** T.81, section F.2.2.1 and table H.2. */
    difference(table: CodeTable): number {
      fill();
      const found = table[(held >> (count - 16)) & 0xffff]!;
      if (found === 0) throw cutShort();
      count -= found >> 8;
      const size = found & 255;
      if (size === 0) return 0;
      if (size === 16) return 32_768;
      fill();
      count -= size;
      const value = (held >> count) & ((1 << size) - 1);
      return value < 1 << (size - 1) ? value - (1 << size) + 1 : value;
    },
    /** Passes the marker that stands between two intervals. */
    restart(): void {
      if (missing * 8 > count) throw cutShort();
      while (at < data.length && !(data[at] === 255 && data[at + 1]! >= 0xd0 && data[at + 1]! <= 0xd7)) at++;
      at += 2;
      [held, count, missing] = [0, 0, 0];
    },
    /** Whether codes were read that are not there. */
    exhausted: (): boolean => missing * 8 > count,
  };
}
