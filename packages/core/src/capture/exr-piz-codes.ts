/** Symbols: every 16-bit word, and one that repeats the word before. */
const SYMBOLS = 65537;
const LONGEST_CODE = 58;
const HEADER_BYTES = 20;

/**
 * Decodes the canonical prefix codes of PIZ to `count` words. The lengths of the codes come first, in 6 bits each, with runs
 * of zeros in two shorter forms. "OpenEXR File Layout"; the order of codes is from the longest to the shortest, as
 * OpenEXR assigns them. Throws a plain `Error` when the bits do not give exactly that many words.
 */
export function decodePizCodes(bytes: Buffer, count: number): Uint16Array {
  const out = new Uint16Array(count);
  if (count === 0) return out;
  if (bytes.length < HEADER_BYTES) throw damaged();
  const least = bytes.readUInt32LE(0);
  const repeat = bytes.readUInt32LE(4);
  const bits = bytes.readUInt32LE(12);
  if (least >= SYMBOLS || repeat >= SYMBOLS) throw damaged();
  const input = new Bits(bytes, HEADER_BYTES);
  const codes = canonical(readLengths(input, least, repeat));
  input.alignToByte();
  const end = input.position + bits;
  if (end > bytes.length * 8) throw damaged();
  let filled = 0;
  while (input.position < end && filled < count) {
    const symbol = codes.next(input);
    if (symbol !== repeat) out[filled++] = symbol;
    else {
      const times = input.take(8);
      if (filled === 0 || filled + times > count) throw damaged();
      out.fill(out[filled - 1]!, filled, filled + times);
      filled += times;
    }
  }
  if (filled !== count || input.position > end) throw damaged();
  return out;
}

function damaged(): Error {
  return new Error('a block of it is damaged');
}

/** 63: a run of zeros with its length less 6 in 8 bits; 59 to 62: 2 to 5 zeros. */
function readLengths(input: Bits, least: number, most: number): Uint8Array {
  const lengths = new Uint8Array(SYMBOLS);
  for (let symbol = least; symbol <= most; ) {
    const length = input.take(6);
    if (length === 63) symbol += input.take(8) + 6;
    else if (length > LONGEST_CODE) symbol += length - 57;
    else lengths[symbol++] = length;
    if (symbol > most + 1) throw damaged();
  }
  return lengths;
}

interface PrefixCodes {
  next(input: Bits): number;
}

/** Among codes of one length, symbols ascend; a longer code's numbers, cut, end just before the shorter ones begin. */
function canonical(lengths: Uint8Array): PrefixCodes {
  const counts = new Float64Array(LONGEST_CODE + 2);
  for (const length of lengths) counts[length]!++;
  const firstCode = new Float64Array(LONGEST_CODE + 2);
  for (let length = LONGEST_CODE, code = 0; length > 0; length--) {
    firstCode[length] = code;
    code = Math.floor((code + counts[length]!) / 2);
  }
  const firstAt = new Int32Array(LONGEST_CODE + 2);
  for (let length = 1; length <= LONGEST_CODE; length++) firstAt[length + 1] = firstAt[length]! + counts[length]!;
  const symbols = new Int32Array(firstAt[LONGEST_CODE + 1]!);
  const next = firstAt.slice();
  lengths.forEach((length, symbol) => {
    if (length > 0) symbols[next[length]!++] = symbol;
  });
  return {
    next: (input) => {
      let code = 0;
      for (let length = 1; length <= LONGEST_CODE; length++) {
        code = code * 2 + input.take(1);
        const rank = code - firstCode[length]!;
        if (rank >= 0 && rank < counts[length]!) return symbols[firstAt[length]! + rank]!;
      }
      throw damaged();
    },
  };
}

/** Takes bits from the most significant one on. */
class Bits {
  readonly #bytes: Buffer;
  /** In bits from the start. */
  position: number;

  constructor(bytes: Buffer, offset: number) {
    this.#bytes = bytes;
    this.position = offset * 8;
  }

  take(count: number): number {
    let value = 0;
    for (let taken = 0; taken < count; ) {
      const at = this.position >> 3;
      if (at >= this.#bytes.length) throw damaged();
      const left = 8 - (this.position & 7);
      const now = Math.min(left, count - taken);
      value = (value << now) | ((this.#bytes[at]! >> (left - now)) & ((1 << now) - 1));
      taken += now;
      this.position += now;
    }
    return value;
  }

  alignToByte(): void {
    this.position = Math.ceil(this.position / 8) * 8;
  }
}
