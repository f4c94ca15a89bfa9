import { rm } from 'node:fs/promises';
import { quantile } from '../compute/quantile.js';
import type { JobContext } from '../job/context.js';
import { hashOf } from '../job/hash.js';
import { createRaster, type RasterFile, rasterBytes, withRaster } from '../job/raster-file.js';
import { runStage } from '../job/stage.js';
import { calibrationFrameTask, calibrationRowsTask } from './calibration-task.js';
import { clipStage, type DecodedPicture } from './clip-stage.js';
import type { CalibrationKind, CalibrationSet, FrameFile, Pass } from './pass.js';
import { type Calibration, encodingKey } from './reading.js';

/** Most frames of one kind that are combined; more lessen the noise no further than anyone sees. */
const MOST_FRAMES = 32;
/** Rows that one task combines. Fixed, so that the result does not depend on the number of workers. */
const BAND_ROWS = 32;

/** The frames of a set that are combined. */
export function usedOf(pass: Pass): readonly FrameFile[] {
  return pass.frames.slice(0, MOST_FRAMES);
}

/** A master of one kind of calibration frames. */
interface Master {
  readonly raster: RasterFile;
  readonly hash: string;
}

/** Masters by kind. */
export type CalibrationMasters = Partial<Record<CalibrationKind, Master>>;

/**
 * Stage: combines calibration frames to masters, in linear light. A flat has the bias, or else the dark, subtracted and
 * is brought to 1 where it is brightest, channel by channel: a lamp's tint is no tint of the ground.
 */
export async function calibrationStage(
  context: JobContext,
  sets: readonly CalibrationSet[],
  hashes: ReadonlyMap<string, string>,
): Promise<CalibrationMasters> {
  const masters: CalibrationMasters = {};
  for (const kind of ['bias', 'dark', 'flat'] as const) {
    const set = sets.find((s) => s.kind === kind);
    if (!set) continue;
    const offset = kind === 'flat' ? [masters.bias, masters.dark].find((m) => m && fits(m, set.pass)) : undefined;
    const master = await masterStage(context, set, hashes, offset ?? null);
    if (master) masters[kind] = master;
  }
  return masters;
}

/** What is undone in the frames of a pass: of the masters of its size the dark, or else the bias, and the flat. */
export function calibrationFor({ bias, dark, flat }: CalibrationMasters, pass: Pass): Calibration | null {
  const taken = [dark, bias].find((m) => m && fits(m, pass));
  const divided = flat && fits(flat, pass) ? flat : undefined;
  if (!taken && !divided) return null;
  return {
    dark: taken?.raster ?? null,
    flat: divided?.raster ?? null,
    hash: [taken, divided].map((m) => m?.hash ?? '-').join(' '),
  };
}

function fits({ raster }: Master, { widthPx, heightPx, channels }: Pass): boolean {
  return raster.width === widthPx && raster.height === heightPx && raster.planes === channels;
}

async function masterStage(
  context: JobContext,
  { kind, pass }: CalibrationSet,
  hashes: ReadonlyMap<string, string>,
  offset: Master | null,
): Promise<Master | null> {
  const { widthPx: width, heightPx: height, channels, encoding } = pass;
  const chosen = usedOf(pass);
  const pictures = pass.kind === 'clip' ? await clipStage(context, pass, hashes) : null;
  const whole = chosen.flatMap((file, k) => {
    const clip = pictures?.[k];
    return isFaulty(clip) ? [] : [{ path: file.path, clip }];
  });
  if (whole.length === 0) return null;
  const key = {
    kind,
    frames: chosen.map((f, k) => [f.item, hashes.get(f.item), isFaulty(pictures?.[k])]),
    encoding: encodingKey(encoding),
    offset: offset?.hash ?? null,
  };
  const rasterAt = (path: string, planes: number): RasterFile => ({ path, width, height, planes });
  const frameBytes = rasterBytes(rasterAt('', channels));
  const artefact = await runStage(context, {
    name: 'calibration',
    subject: kind,
    key,
    total: whole.length,
    unit: 'frames',
    needBytes: frameBytes * (whole.length + 1),
    run: async (handle) => {
      const frames = rasterAt(handle.path(FRAMES_FILE), channels * whole.length);
      const master = rasterAt(handle.path(MASTER_FILE), channels);
      createRaster(frames);
      createRaster(master);
      const inputs = whole.map((source, k) => ({
        ...{ ...source, encoding, raster: frames, firstPlane: channels * k },
        ...{ offset: offset?.raster ?? null, normalise: kind === 'flat' },
      }));
      const onDone = (done: number): void => handle.step(done);
      await context.pool.map(calibrationFrameTask, inputs, { signal: context.signal, onDone });
      const bands = Array.from({ length: Math.ceil(height / BAND_ROWS) }, (_, b) => ({
        ...{ frames, channels, master },
        rows: [b * BAND_ROWS, Math.min(height, (b + 1) * BAND_ROWS)] as const,
      }));
      await context.pool.map(calibrationRowsTask, bands, { signal: context.signal });
      if (kind === 'flat') bringToOne(master);
      await rm(handle.path(FRAMES_FILE));
      return null;
    },
  });
  return { raster: rasterAt(artefact.path(MASTER_FILE), channels), hash: hashOf(key) };
}

function isFaulty(picture: DecodedPicture | undefined): picture is { readonly fault: string } {
  return picture !== undefined && 'fault' in picture;
}

const FRAMES_FILE = 'frames.f32';
const MASTER_FILE = 'master.f32';
/** Side of the squares whose means tell where a flat is brightest, and the share of them that may be brighter still. */
const REGION_PX = 16;
const BRIGHTER = 0.01;

function bringToOne(master: RasterFile): void {
  const { width, height, planes } = master;
  withRaster(master, 'r+', (open) => {
    for (let c = 0; c < planes; c++) {
      const columns = Math.max(1, Math.floor(width / REGION_PX));
      const regions: number[] = [];
      for (let y = 0; y + REGION_PX <= Math.max(height, REGION_PX); y += REGION_PX) {
        const box = { x0: 0, y0: y, width, height: Math.min(REGION_PX, height - y) };
        const rows = new Float32Array(box.width * box.height);
        open.read(c, box, rows);
        const sums = new Float64Array(columns);
        const counts = new Float64Array(columns);
        rows.forEach((v, i) => {
          const column = Math.min(columns - 1, Math.floor((i % width) / REGION_PX));
          sums[column]! += v;
          counts[column]!++;
        });
        sums.forEach((sum, k) => {
          regions.push(sum / counts[k]!);
        });
      }
      const level = quantile(regions, 1 - BRIGHTER);
      for (let y = 0; y < height; y += REGION_PX) {
        const box = { x0: 0, y0: y, width, height: Math.min(REGION_PX, height - y) };
        const rows = new Float32Array(box.width * box.height);
        open.read(c, box, rows);
        open.write(
          c,
          box,
          rows.map((v) => v / level),
        );
      }
    }
  });
}
