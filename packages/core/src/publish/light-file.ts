import { open } from 'node:fs/promises';
import { decodeSrgb } from '../capture/curves.js';
import { plateRows, SAMPLES, type StoredPlate } from './plate-rows.js';

/**
 * The factor on linear light with which a plate is shown: that of its preview, or less, so that of the lit ground at most one
 * pixel in 10 000 has a channel that is clipped. Never changes with the size of a copy.
 */
export async function toneGain(plate: StoredPlate, previewGain: number, signal?: AbortSignal): Promise<number> {
  const counts = new Float64Array(65536);
  for await (const { codes } of plateRows(plate, signal)) {
    for (let i = 0; i < codes.length; i += SAMPLES) {
      if (codes[i + 3]! > 32767) counts[Math.max(codes[i]!, codes[i + 1]!, codes[i + 2]!)]!++;
    }
  }
  const brightest = counts.findLastIndex((count) => count > 0);
  if (brightest <= 0) return previewGain;
  const litFrom = LIT_SHARE * light(brightest);
  const lit = counts.reduce((sum, count, code) => (light(code) >= litFrom ? sum + count : sum), 0);
  let above = 0;
  let code = brightest;
  while (code > 0 && above + counts[code]! <= CLIPPED_SHARE * lit) above += counts[code--]!;
  return Math.min(previewGain, 1 / light(code));
}

/** Ground counts as lit from this share of the brightest pixel on. */
const LIT_SHARE = 0.05;
const CLIPPED_SHARE = 1e-4;

/**
 * Writes a plate's linear light times a gain, over black where nothing is covered, as a file that the picture library reads
 * in bands: 32-bit floats, red, green, blue, 12 bytes a pixel, linear with sRGB's primaries. For scratch alone.
 */
export async function writeLightFile(
  path: string,
  plate: StoredPlate,
  gain: number,
  signal?: AbortSignal,
): Promise<void> {
  const lights = Float64Array.from({ length: 65536 }, (_, code) => gain * light(code));
  const file = await open(path, 'wx');
  try {
    await file.write(headerOf(plate));
    for await (const { codes } of plateRows(plate, signal)) {
      const out = new Float32Array((codes.length / SAMPLES) * 3);
      for (let i = 0, at = 0; i < codes.length; i += SAMPLES, at += 3) {
        const covered = codes[i + 3]! / 65535;
        for (let c = 0; c < 3; c++) out[at + c] = covered * lights[codes[i + c]!]!;
      }
      await file.writeFile(new Uint8Array(out.buffer));
    }
  } finally {
    await file.close();
  }
}

function light(code: number): number {
  return decodeSrgb(code / 65535);
}

/** Header of libvips' own file format: sizes, float samples, linear light of sRGB's primaries. */
function headerOf({ widthPx, heightPx }: StoredPlate): Buffer {
  const header = Buffer.alloc(64);
  header.writeUInt32BE(LITTLE_ENDIAN_FILE, 0);
  [widthPx, heightPx, 3, 0, FLOAT, 0, LINEAR_SRGB].forEach((value, i) => {
    header.writeInt32LE(value, 4 + 4 * i);
  });
  header.writeFloatLE(1, 32);
  header.writeFloatLE(1, 36);
  return header;
}

const LITTLE_ENDIAN_FILE = 0xb6a6f208;
const FLOAT = 6;
const LINEAR_SRGB = 28;
