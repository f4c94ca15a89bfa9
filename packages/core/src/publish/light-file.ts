import { open } from 'node:fs/promises';
import { decodeSrgb } from '../capture/curves.js';
import type { GridBox } from '../compute/grid-box.js';
import { plateRows, SAMPLES, type StoredPlate } from './plate-rows.js';

/**
 * Writes a part of a plate's linear light (space 4) times a gain, over black where nothing is covered, as a file that the
 * picture library reads in bands: 32-bit floats, red, green, blue, 12 bytes a pixel, linear with sRGB's primaries. For scratch
 * alone.
 */
export async function writeLightFile(
  path: string,
  plate: StoredPlate,
  part: GridBox,
  gain: number,
  signal?: AbortSignal,
): Promise<void> {
  const lights = Float64Array.from({ length: 65536 }, (_, code) => gain * decodeSrgb(code / 65535));
  const file = await open(path, 'wx');
  try {
    await file.writeFile(headerOf(part));
    for await (const { y0, rows, codes } of plateRows(plate, signal)) {
      const from = Math.max(0, part.y0 - y0);
      const to = Math.min(rows, part.y0 + part.height - y0);
      if (to <= from) continue;
      const out = new Float32Array((to - from) * part.width * 3);
      for (let y = from, at = 0; y < to; y++) {
        let i = (y * plate.widthPx + part.x0) * SAMPLES;
        for (let x = 0; x < part.width; x++, i += SAMPLES, at += 3) {
          const covered = codes[i + 3]! / 65535;
          for (let c = 0; c < 3; c++) out[at + c] = covered * lights[codes[i + c]!]!;
        }
      }
      await file.writeFile(new Uint8Array(out.buffer));
    }
  } finally {
    await file.close();
  }
}

/** Header of libvips' own file format: sizes, float samples, linear light of sRGB's primaries. */
function headerOf({ width, height }: GridBox): Buffer {
  const header = Buffer.alloc(64);
  header.writeUInt32BE(LITTLE_ENDIAN_FILE, 0);
  [width, height, 3, 0, FLOAT, 0, LINEAR_SRGB].forEach((value, i) => {
    header.writeInt32LE(value, 4 + 4 * i);
  });
  header.writeFloatLE(1, 32);
  header.writeFloatLE(1, 36);
  return header;
}

const LITTLE_ENDIAN_FILE = 0xb6a6f208;
const FLOAT = 6;
const LINEAR_SRGB = 28;
