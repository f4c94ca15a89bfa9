/**
 * Decodes one tile of RICE_1: blocks of differences, each block with its own number of low bits. FITS 4.0, section
 * 10.4.1; R. White et al., "Tiled image convention for storing compressed images in FITS binary tables" (2013). Numbers
 * come signed for 16 and 32 bits, unsigned for 8. Throws a plain `Error` when the bytes end before the tile does.
 */
export function decodeRice(bytes: Buffer, count: number, blockPx: number, bytePix: 1 | 2 | 4): Int32Array {
  const bits = 8 * bytePix;
  const fieldBits = bytePix === 1 ? 3 : bytePix === 2 ? 4 : 5;
  const wholeSplit = bytePix === 1 ? 6 : bytePix === 2 ? 14 : 25;
  if (count > mostPixels(bytes.length, blockPx, fieldBits)) throw new Error('a compressed tile of it is cut short');
  const out = new Int32Array(count);
  const input = new BitReader(bytes);
  let last = input.take(bits);
  for (let from = 0; from < count; from += blockPx) {
    const split = input.take(fieldBits) - 1;
    const until = Math.min(count, from + blockPx);
    for (let i = from; i < until; i++) {
      if (split >= 0) {
        const folded = split === wholeSplit ? input.take(bits) : joined(input.zeros(), input.take(split), split);
        last += folded & 1 ? ~(folded >>> 1) : folded >>> 1;
      }
      last = bytePix === 1 ? last & 0xff : bytePix === 2 ? (last << 16) >> 16 : last | 0;
      out[i] = last;
    }
  }
  return out;
}

/** Every block costs at least its field, so this many bytes cannot hold more. */
function mostPixels(length: number, blockPx: number, fieldBits: number): number {
  return Math.ceil((length * 8) / fieldBits) * blockPx;
}

function joined(high: number, low: number, split: number): number {
  return ((high << split) | low) >>> 0;
}

/** Takes bits from the most significant one on. */
class BitReader {
  readonly #bytes: Buffer;
  #at = 0;
  #held = 0;
  #heldBits = 0;

  constructor(bytes: Buffer) {
    this.#bytes = bytes;
  }

  take(bits: number): number {
    if (bits > 16) return ((this.take(16) << (bits - 16)) | this.take(bits - 16)) >>> 0;
    while (this.#heldBits < bits) this.#fill();
    this.#heldBits -= bits;
    const value = (this.#held >>> this.#heldBits) & ((1 << bits) - 1);
    return value;
  }

  /** Counts zeros up to the next one, which is passed over. */
  zeros(): number {
    let count = 0;
    for (;;) {
      if (this.#heldBits === 0) this.#fill();
      const rest = this.#held & ((1 << this.#heldBits) - 1);
      if (rest !== 0) {
        const leading = this.#heldBits - (32 - Math.clz32(rest));
        this.#heldBits -= leading + 1;
        return count + leading;
      }
      count += this.#heldBits;
      this.#heldBits = 0;
    }
  }

  #fill(): void {
    if (this.#at >= this.#bytes.length) throw new Error('a compressed tile of it is cut short');
    this.#held = ((this.#held << 8) | this.#bytes[this.#at++]!) & 0xffffff;
    this.#heldBits += 8;
  }
}
