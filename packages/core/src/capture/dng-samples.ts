import type { ByteSource } from './byte-source.js';
import { demosaic } from './demosaic.js';
import { readDngCodes } from './dng-codes.js';
import { type CameraColour, cameraColour } from './dng-colour.js';
import { type DngLayout, readDngLayout } from './dng-layout.js';
import { lightOf } from './dng-levels.js';
import { DNG_TAG, numberIn } from './dng-tags.js';
import { applyMatrix, type StoredSamples } from './linearise.js';
import { type FormatFacts, MOST_PIXELS } from './still-header.js';

/** The facts of a DNG. Throws a plain `Error` with the cause when its sensor data cannot be read truthfully. */
export async function judgeDng(source: ByteSource): Promise<FormatFacts> {
  const layout = await readDngLayout(source);
  const { main, raw, crop, bits } = layout;
  const notes = isGrey(layout) ? [] : [...cameraColour(main).notes];
  if (raw.has(DNG_TAG.OpcodeList2) || raw.has(DNG_TAG.OpcodeList3)) {
    notes.push('Corrections of the lens that the file lists are not applied.');
  }
  return {
    format: 'dng',
    storedWidthPx: crop.width,
    storedHeightPx: crop.height,
    channels: isGrey(layout) ? 1 : 3,
    alpha: 'none',
    bitsPerSample: bits,
    samples: 'unsigned',
    orientation: numberIn(main, DNG_TAG.Orientation, 1),
    icc: undefined,
    declared: undefined,
    linear: 'always',
    notes,
  };
}

/** Reads a DNG's sensor data as linear light, demosaiced, balanced as shot, in the primaries of sRGB. */
export async function readDng(source: ByteSource): Promise<StoredSamples> {
  const layout = await readDngLayout(source);
  if (layout.widthPx * layout.heightPx > MOST_PIXELS) throw new Error('its sensor data are too large');
  const { width, height, planes, clippedPixels } = lightOf(await readDngCodes(source, layout), layout);
  if (isGrey(layout)) return { light: true, planes, clippedPixels };
  const { pattern } = layout;
  const colours = pattern === undefined ? planes : demosaic({ width, height, data: planes[0]! }, pattern);
  balance(colours, cameraColour(layout.main));
  return { light: true, planes: colours, clippedPixels };
}

function isGrey({ samples, pattern }: DngLayout): boolean {
  return samples === 1 && pattern === undefined;
}

/** Grey becomes grey; what is brighter than the first channel to clip could tell of grey is cut, lest it be tinted. */
function balance(planes: readonly Float32Array[], { neutral, matrix }: CameraColour): void {
  for (const [c, plane] of planes.entries()) {
    const gain = 1 / neutral[c]!;
    for (let i = 0; i < plane.length; i++) plane[i] = Math.min(1, plane[i]! * gain);
  }
  if (matrix !== undefined) applyMatrix(planes, matrix);
}
