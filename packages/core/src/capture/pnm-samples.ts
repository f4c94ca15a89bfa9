import type { ByteSource } from './byte-source.js';
import type { StoredSamples } from './linearise.js';
import { type PnmHeader, readPnmHeader } from './pnm-header.js';

/** Reads the first picture of a PGM, PPM, PAM (codes) or PFM (floats, rows from the top down). */
export async function readPnm(source: ByteSource): Promise<StoredSamples> {
  const header = await readPnmHeader(source);
  const { magic, widthPx, heightPx, depth, maximum, dataOffset } = header;
  const count = widthPx * heightPx * depth;
  if (magic === 'PF' || magic === 'Pf') return readPfm(await source.read(dataOffset, count * 4), header);
  const codes =
    magic === 'P2' || magic === 'P3'
      ? await readText(source, dataOffset, count, maximum)
      : fromBytes(await source.read(dataOffset, count * (maximum > 255 ? 2 : 1)), count, maximum);
  for (const code of codes) {
    if (code > maximum) throw new Error(`a code of it is ${code}, above its largest, ${maximum}`);
  }
  return { codes, stride: depth };
}

/** The more significant byte comes first. */
function fromBytes(bytes: Buffer, count: number, maximum: number): Uint8Array | Uint16Array {
  if (maximum <= 255) return bytes;
  const codes = new Uint16Array(count);
  for (let i = 0; i < count; i++) codes[i] = (bytes[2 * i]! << 8) | bytes[2 * i + 1]!;
  return codes;
}

const BLOCK_BYTES = 1 << 16;

async function readText(
  source: ByteSource,
  offset: number,
  count: number,
  maximum: number,
): Promise<Uint8Array | Uint16Array> {
  const codes = maximum > 255 ? new Uint16Array(count) : new Uint8Array(count);
  let filled = 0;
  let value = -1;
  for (let at = offset; at < source.sizeBytes && filled < count; at += BLOCK_BYTES) {
    for (const byte of await source.read(at, Math.min(BLOCK_BYTES, source.sizeBytes - at))) {
      const digit = byte - 48;
      if (digit >= 0 && digit <= 9) {
        value = Math.max(value, 0) * 10 + digit;
        if (value > maximum) throw new Error(`a code of it is ${value}, above its largest, ${maximum}`);
      } else if (byte !== 32 && (byte < 9 || byte > 13)) throw new Error('it holds something other than numbers');
      else if (value >= 0 && filled < count) {
        codes[filled++] = value;
        value = -1;
      }
    }
  }
  if (value >= 0 && filled < count) codes[filled++] = value;
  if (filled < count) throw new Error(`it is cut short: it holds ${filled} of its ${count} samples`);
  return codes;
}

/** A PFM begins with the lowest row. */
function readPfm(bytes: Buffer, { widthPx, heightPx, depth, littleEndian }: PnmHeader): StoredSamples {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const planes = Array.from({ length: depth }, (_, channel) => {
    const plane = new Float32Array(widthPx * heightPx);
    for (let y = 0, to = 0; y < heightPx; y++) {
      let from = ((heightPx - 1 - y) * widthPx * depth + channel) * 4;
      for (let x = 0; x < widthPx; x++, from += depth * 4) plane[to++] = view.getFloat32(from, littleEndian);
    }
    return plane;
  });
  return { planes };
}
