import type { FileHandle } from 'node:fs/promises';
import { pictures } from './picture-library.js';
import { type PngHeader, readPngHeader } from './png-chunks.js';
import type { DeclaredCurve, FormatFacts } from './still-header.js';

/** The facts of a PNG's header. Throws a plain `Error` with the cause when its samples cannot be read truthfully. */
export async function judgePng(path: string, file: FileHandle, sizeBytes: number): Promise<FormatFacts> {
  const png = await readPngHeader(file, sizeBytes);
  if (png.bitDepth === 1) throw new Error('it has 1 bit per sample, which holds no shades');
  const meta = await pictures(path, { limitInputPixels: false }).metadata();
  const alpha = png.colourType === 4 || png.colourType === 6 || png.hasTransparency;
  const notes: string[] = [];
  if (alpha) notes.push('The alpha channel is dropped.');
  if (png.animated) notes.push('The file is animated; its still picture is used.');
  return {
    storedWidthPx: meta.width,
    storedHeightPx: meta.height,
    channels: png.colourType === 0 || png.colourType === 4 ? 1 : 3,
    alpha: alpha ? 'separate' : 'none',
    bitsPerSample: png.bitDepth === 16 ? 16 : 8,
    samples: 'unsigned',
    orientation: meta.orientation ?? 1,
    icc: meta.icc,
    declared: declaredCurve(png),
    notes,
  };
}

/** Order of precedence: cICP, (a profile, which the reader puts before what follows,) sRGB, gAMA. */
function declaredCurve(png: PngHeader): DeclaredCurve | undefined {
  if (png.cicp !== undefined) {
    const transfer = png.cicp[1]!;
    if (transfer === 13) return 'srgb';
    if (transfer === 8) return 'linear';
    if (transfer === 1 || transfer === 6 || transfer === 14 || transfer === 15) return 'bt709';
    if (transfer !== 2) throw new Error(`its cICP chunk declares transfer characteristics ${transfer}`);
  }
  if (png.hasSrgb) return 'srgb';
  return png.gamma === undefined ? undefined : curveOfGamma(png.gamma);
}

function curveOfGamma(gamma: number): DeclaredCurve {
  if (!(gamma >= 0.1 && gamma <= 10)) throw new Error(`its gAMA chunk holds an impossible exponent, ${gamma}`);
  if (Math.abs(gamma - 1 / 2.2) < 0.005) return 'srgb';
  return Math.abs(gamma - 1) < 0.0005 ? 'linear' : gamma;
}
