import { addDecoder, BaseDecoder } from 'geotiff';

/** Ends the codes, and begins a new table. */
const CLEAR = 256;
const END = 257;
const MOST_CODES = 4096;

/**
 * Expands LZW, TIFF 6.0 section 13, to at most `most` bytes. Throws a plain `Error` when a code stands for nothing; codes
 * that end early leave the rest to the caller.
 */
export function expandLzw(packed: Uint8Array, most: number): Uint8Array {
  let out = new Uint8Array(Math.min(most, Math.max(MOST_CODES, 4 * packed.length)));
  // Where in `out` the entry of a code begins, and how long it is: an entry is always text that has been put out before.
  const starts = new Int32Array(MOST_CODES);
  const lengths = new Int32Array(MOST_CODES);
  let [size, width, previous, previousLength] = [END + 1, 9, -1, 0];
  let [held, count, written] = [0, 0, 0];
  for (let at = 0; written < most; ) {
    while (count < width && at < packed.length) {
      held = ((held << 8) | packed[at++]!) & 0xffffff;
      count += 8;
    }
    if (count < width) break;
    count -= width;
    const code = (held >> count) & ((1 << width) - 1);
    if (code === END) break;
    if (code === CLEAR) {
      [size, width, previous] = [END + 1, 9, -1];
      continue;
    }
    if (code > size || (code === size && previous < 0)) throw new Error('its LZW codes are damaged');
    if (written + MOST_CODES > out.length && out.length < most) {
      const more = new Uint8Array(Math.min(most, 2 * out.length));
      more.set(out);
      out = more;
    }
    const start = written;
    if (code < CLEAR) out[written++] = code;
    else if (code < size) written = repeat(out, starts[code]!, lengths[code]!, written);
    else written = repeat(out, previous, previousLength + 1, written);
    if (previous >= 0 && size < MOST_CODES) {
      starts[size] = previous;
      lengths[size] = previousLength + 1;
      size++;
    }
    [previous, previousLength] = [start, written - start];
    if (size + 1 >= 1 << width && width < 12) width++;
  }
  return out.subarray(0, written);
}

/** Copies text that may reach into what is being written; returns where the text ends. */
function repeat(out: Uint8Array, from: number, length: number, to: number): number {
  const end = Math.min(out.length, to + length);
  for (let i = to; i < end; i++) out[i] = out[from + i - to]!;
  return end;
}

/** A block of a TIFF, which is never larger than its tags say. */
class LzwDecoder extends BaseDecoder {
  override decodeBlock(packed: ArrayBufferLike): ArrayBufferLike {
    const { tileWidth, tileHeight, bitsPerSample, planarConfiguration } = this.parameters;
    const bits = typeof bitsPerSample === 'number' ? [bitsPerSample] : Array.from(bitsPerSample);
    const perPixel = planarConfiguration === 2 ? bits[0]! : bits.reduce((sum, b) => sum + b, 0);
    const bytes = Math.ceil((tileWidth * perPixel) / 8) * tileHeight;
    return expandLzw(new Uint8Array(packed), bytes).slice().buffer;
  }
}

/** Has geotiff take {@link expandLzw}: its own decoder, given damaged codes, does not come to an end. */
export function registerLzw(): void {
  addDecoder(5, async () => LzwDecoder);
}
