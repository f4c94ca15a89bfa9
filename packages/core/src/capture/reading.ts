import type { RasterFile } from '../job/raster-file.js';
import type { CubeTable } from './cube-table.js';
import type { RecordedCurve, RecordedPrimaries, RecordedRange } from './read-still.js';

/** What is to be believed in place of what a file says of itself; `auto` believes the file. */
export interface RecordedEncoding {
  readonly curve: RecordedCurve;
  readonly range: RecordedRange;
  /** How a clip's colour differences stand for red, green and blue. */
  readonly matrix: 'auto' | 'bt601' | 'bt709' | 'bt2020' | 'rgb';
  readonly primaries: RecordedPrimaries;
}

/** Every file is believed. */
export const AS_FILES_SAY: RecordedEncoding = { curve: 'auto', range: 'auto', matrix: 'auto', primaries: 'auto' };

/** How recorded values are to be understood. Where there is a table, the curve is ignored. */
export interface Encoding extends RecordedEncoding {
  /** A table that the recorded values go through, in place of a curve. */
  readonly table: {
    readonly cube: CubeTable;
    /** What the table gives. */
    readonly gives: 'linear' | 'srgb' | 'bt709';
    /** SHA-256 of its file. */
    readonly sha256: string;
  } | null;
}

/** What is undone of the sensor before anything else looks at a frame: planes by channel, in linear light, at its full size. */
export interface Calibration {
  /** Is subtracted. */
  readonly dark: RasterFile | null;
  /** Is divided by; its brightest region is 1. */
  readonly flat: RasterFile | null;
  /** Name that changes with any of its pixels. */
  readonly hash: string;
}

/** How the frames of a pass become light. */
export interface Reading {
  readonly encoding: Encoding;
  readonly calibration: Calibration | null;
}

/** What a stage's key says of a reading. */
export function readingKey({ encoding, calibration }: Reading): unknown {
  return { ...encodingKey(encoding), calibration: calibration?.hash ?? null };
}

/** What a stage's key says of an encoding. */
export function encodingKey({ curve, range, matrix, primaries, table }: Encoding): Readonly<Record<string, unknown>> {
  return {
    ...{ curve: table ? null : curve, range, matrix, primaries },
    table: table && { sha256: table.sha256, gives: table.gives },
  };
}
