import type { DngLayout } from './dng-layout.js';
import { DNG_TAG, type DngTags, numberIn } from './dng-tags.js';

/** Light of a sensor: one plane behind colour filters or of a sensor without, three of linear colour. 0 is black, 1 clipped. */
export interface SensorLight {
  readonly width: number;
  readonly height: number;
  readonly planes: readonly Float32Array[];
  /** Pixels of which any sample is clipped. */
  readonly clippedPixels: number;
}

/**
 * Brings the codes within the crop to light: DNG specification 1.7.1, chapter 5: linearisation table, black by the place,
 * white by the sample. Throws a plain `Error` when the levels make no scale.
 */
export function lightOf(codes: Uint16Array, layout: DngLayout): SensorLight {
  const { raw, crop, active, widthPx, samples, bits } = layout;
  const { width, height } = crop;
  const black = blackOf(raw, samples, active.width, active.height);
  const largest = 2 ** (raw.has(DNG_TAG.LinearizationTable) ? 16 : bits) - 1;
  const whites = Array.from(
    { length: samples },
    (_, s) => raw.get(DNG_TAG.WhiteLevel)?.[s] ?? numberIn(raw, DNG_TAG.WhiteLevel, largest),
  );
  const scales = whites.map((white, s) => 1 / (white - black.most[s]!));
  if (!scales.every((scale) => scale > 0 && scale <= 1)) {
    throw new Error(`its white (${whites}) is not above its black (${black.most})`);
  }
  const table = linearisation(raw);
  const planes = Array.from({ length: samples }, () => new Float32Array(width * height));
  let clippedPixels = 0;
  for (let y = 0, at = 0; y < height; y++) {
    let from = ((crop.y + y) * widthPx + crop.x) * samples;
    for (let x = 0; x < width; x++, at++) {
      let clipped = 0;
      for (let s = 0; s < samples; s++, from++) {
        const value = table === undefined ? codes[from]! : table[Math.min(codes[from]!, table.length - 1)]!;
        if (value >= whites[s]!) clipped = 1;
        planes[s]![at] = (value - black.at(crop.x - active.x + x, crop.y - active.y + y, s)) * scales[s]!;
      }
      clippedPixels += clipped;
    }
  }
  return { width, height, planes, clippedPixels };
}

function linearisation(raw: DngTags): readonly number[] | undefined {
  const table = raw.get(DNG_TAG.LinearizationTable);
  if (table !== undefined && table.length === 0) throw new Error('its table of linear values is empty');
  return table;
}

/** Black at a place of the active area, and the largest of each sample. */
function blackOf(raw: DngTags, samples: number, width: number, height: number) {
  const [rows = 1, columns = 1] = raw.get(DNG_TAG.BlackLevelRepeatDim) ?? [];
  const levels = raw.get(DNG_TAG.BlackLevel) ?? new Array<number>(rows * columns * samples).fill(0);
  const across = raw.get(DNG_TAG.BlackLevelDeltaH) ?? [];
  const down = raw.get(DNG_TAG.BlackLevelDeltaV) ?? [];
  const whole = rows >= 1 && columns >= 1 && levels.length === rows * columns * samples;
  const fits = [across, down].every((deltas, i) => [0, i === 0 ? width : height].includes(deltas.length));
  if (!whole || !fits || ![...levels, ...across, ...down].every(Number.isFinite))
    throw new Error('its black levels are damaged');
  const most = (values: readonly number[]): number => values.reduce((a, b) => Math.max(a, b), Number.NEGATIVE_INFINITY);
  const beyond = (across.length ? most(across) : 0) + (down.length ? most(down) : 0);
  return {
    at: (x: number, y: number, s: number): number =>
      levels[((y % rows) * columns + (x % columns)) * samples + s]! + (across[x] ?? 0) + (down[y] ?? 0),
    most: Array.from({ length: samples }, (_, s) => most(levels.filter((_level, i) => i % samples === s)) + beyond),
  };
}
