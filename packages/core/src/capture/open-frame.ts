import { withRaster } from '../job/raster-file.js';
import { applyTable } from './apply-table.js';
import type { ClipPicture } from './clip-window.js';
import { decoderOf } from './curves.js';
import { openClipPicture } from './open-clip-picture.js';
import { type OpenStill, openStill } from './open-still.js';
import type { Calibration, Encoding, Reading, RecordedEncoding } from './reading.js';
import { unreadable } from './still-header.js';

/** A frame of a pass, and how it becomes light. */
export interface FrameSource extends Reading {
  readonly path: string;
  /** Where the path is that of a clip: the picture in it. */
  readonly clip?: ClipPicture | undefined;
}

/** A frame whose light is worked out band by band. */
export interface OpenFrame extends OpenStill {
  /** The same frame before calibration: there, 1 is the sensor's clipping point. */
  readonly recorded: OpenStill;
}

/**
 * Opens a frame as its pass is to be read: by a curve or a table, then calibrated. A table's output is scaled so that
 * the recorded maximum of all channels gives 1. Throws {@link InputError} `FRAME_UNREADABLE`.
 */
export async function openFrame({ path, clip, encoding, calibration }: FrameSource): Promise<OpenFrame> {
  const { table } = encoding;
  const asked: RecordedEncoding = table ? { ...encoding, curve: 'linear' } : encoding;
  const still = clip ? openClipPicture(path, clip, asked) : await openStill(path, asked);
  const recorded = table ? throughTable(still, table) : still;
  return { ...(calibration ? calibrated(recorded, calibration, path) : recorded), recorded };
}

function throughTable(still: OpenStill, { cube, gives }: NonNullable<Encoding['table']>): OpenStill {
  const decode = decoderOf(gives);
  const white = [1, 1, 1].map((v) => Float32Array.of(v));
  applyTable(cube, white);
  const most = Math.max(...white.map(([v]) => decode(v!)));
  return {
    ...still,
    curve: gives,
    notes: [...still.notes, `Recorded values went through a table to ${gives}.`],
    rows: (y, into) => {
      still.rows(y, into);
      applyTable(cube, into);
      for (const plane of into) {
        for (let i = 0; i < plane.length; i++) plane[i] = decode(plane[i]!) / most;
      }
    },
  };
}

function calibrated(still: OpenStill, { dark, flat }: Calibration, path: string): OpenStill {
  const { width, height, channels } = still;
  for (const raster of [dark, flat]) {
    if (!raster || (raster.width === width && raster.height === height && raster.planes === channels)) continue;
    throw unreadable(path, new Error('its size or channels are not those of the calibration frames'));
  }
  return {
    ...still,
    rows: (y, into) => {
      still.rows(y, into);
      const box = { x0: 0, y0: y, width, height: into[0]!.length / width };
      const held = new Float32Array(into[0]!.length);
      const each = (raster: Calibration['dark'], change: (plane: Float32Array) => void): void => {
        if (!raster) return;
        withRaster(raster, 'r', (open) => {
          for (const [c, plane] of into.entries()) {
            open.read(c, box, held);
            change(plane);
          }
        });
      };
      each(dark, (plane) => {
        for (let i = 0; i < plane.length; i++) plane[i]! -= held[i]!;
      });
      each(flat, (plane) => {
        for (let i = 0; i < plane.length; i++) plane[i]! /= Math.max(LEAST_FLAT, held[i]!);
      });
    },
  };
}

/** What takes more of the light than this shows nothing but noise. */
const LEAST_FLAT = 0.02;
