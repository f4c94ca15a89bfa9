import type { RasterFile } from '../job/raster-file.js';
import type { CubeTable } from './cube-table.js';
import type { RecordedCurve } from './read-still.js';

/** How recorded values are to be understood. */
export interface Encoding {
  /** Ignored where there is a table. */
  readonly curve: RecordedCurve;
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
export function readingKey({ encoding: { curve, table }, calibration }: Reading): unknown {
  return {
    curve: table ? null : curve,
    table: table && { sha256: table.sha256, gives: table.gives },
    calibration: calibration?.hash ?? null,
  };
}
