import { createPlane, type Plane, type RowSource } from './image.js';
import { type KernelScope, withKernels } from './kernels.js';

/** What {@link surveyWithKernels} looks for. */
export interface SurveySettings {
  readonly binFactor: number;
  /** Side of a block, px of the binned light; a multiple of 4. */
  readonly blockPx: number;
  /** Light from which on a pixel counts as clipped. */
  readonly clipping: number;
  /** A pixel stands out when it leaves all its neighbours behind by this, and by this share of the whole range about it. */
  readonly margin: number;
  readonly steepness: number;
  /** Pixels that stand out are not listed beyond this number. */
  readonly mostSpikes: number;
}

/** What one way through a picture tells. */
export interface Survey {
  /** Mean of the channels, binned; incomplete blocks at the far edges are dropped. */
  readonly light: Plane;
  /** Mean of each channel over blocks of blockPx·binFactor pixels a side, row-major, as many as fit on the binned light. */
  readonly means: readonly Float32Array[];
  /** Share of the blocks' pixels that are clipped, by channel. */
  readonly clipped: readonly Float32Array[];
  /** Pixels that stand out in any channel, ascending; empty when there are more than asked for. */
  readonly spikes: Uint32Array;
}

/** Bins a picture, adds up its blocks and lists what stands out of it, reading it once. */
export function surveyWithKernels(source: RowSource, settings: SurveySettings): Survey {
  const { width, height, channels } = source;
  const { binFactor, blockPx } = settings;
  const light = createPlane(Math.floor(width / binFactor), Math.floor(height / binFactor));
  const columns = Math.floor(light.width / blockPx);
  const blockRows = Math.floor(light.height / blockPx);
  const grid = (): Float32Array => new Float32Array(columns * blockRows);
  const means = Array.from({ length: channels }, grid);
  const clipped = means.map(grid);
  const found: Uint32Array[] = [];
  let spikes = 0;
  const side = blockPx * binFactor;
  withKernels((scope) => {
    const band = holdBand(scope, source, side);
    const binned = scope.hold(light.width * blockPx);
    const row = scope.hold(Math.max(width, 2 * columns) + 4);
    const sums = scope.reserve(24 * columns);
    const room = Math.min(settings.mostSpikes, width * side);
    const list = scope.reserve(4 * room);
    const { exports } = scope;
    for (let top = 0, r = 0; top < height; top += side, r++) {
      const rows = Math.min(side, height - top);
      band.load(top, rows);
      const binnedRows = Math.floor(rows / binFactor);
      exports.binLight(
        ...([band.address, band.planeBytes, channels, width, binFactor, binnedRows] as const),
        ...([binned.address, row.address] as const),
      );
      light.data.set(scope.floats(binned.address, light.width * binnedRows), r * blockPx * light.width);
      for (let c = 0; r < blockRows && c < channels; c++) {
        const [mean, share] = [row.address, row.address + 4 * columns];
        const at = band.address + c * band.planeBytes;
        exports.blockRow(at, width, columns, side, settings.clipping, mean, 0, share, sums);
        means[c]!.set(scope.floats(mean, columns), r * columns);
        clipped[c]!.set(scope.floats(share, columns), r * columns);
      }
      const [from, to] = [Math.max(top, 1), Math.min(top + rows, height - 1)];
      if (from >= to || width < 3 || spikes > settings.mostSpikes) continue;
      const count = exports.standOut(
        ...([band.address + 4 * width * (from - top), band.planeBytes, channels, width, to - from] as const),
        ...([settings.margin, settings.steepness, from * width, list, room] as const),
      );
      const listed = Math.min(count, room);
      found.push(new Uint32Array(scope.bytes(list, 4 * listed).slice().buffer));
      spikes += count;
    }
  });
  return { light, means, clipped, spikes: spikes > settings.mostSpikes ? new Uint32Array(0) : joined(found) };
}

/** Room for some rows of every plane with a row more on either side. */
function holdBand(scope: KernelScope, { width, height, channels, rows: read }: RowSource, rows: number) {
  const length = (rows + 2) * width;
  const { address } = scope.hold(channels * length);
  return {
    /** The first of the rows, of the first plane. */
    address: address + 4 * width,
    planeBytes: 4 * length,
    load: (top: number, count: number): void => {
      const memory = scope.floats(address, channels * length);
      const from = Math.max(0, top - 1);
      const to = Math.min(height, top + count + 1);
      const planes = Array.from({ length: channels }, (_, c) => {
        const first = c * length + (from - top + 1) * width;
        return memory.subarray(first, first + (to - from) * width);
      });
      read(from, planes);
    },
  };
}

/** Means of a plane, and of its squares, over blocks of side × side px, row-major; incomplete ones are dropped. */
export function blockMoments(
  plane: Plane,
  sidePx: number,
): { readonly means: Float32Array; readonly squares: Float32Array } {
  const columns = Math.floor(plane.width / sidePx);
  const rows = Math.floor(plane.height / sidePx);
  const means = new Float32Array(columns * rows);
  const squares = new Float32Array(columns * rows);
  withKernels((scope) => {
    const held = scope.put(plane.data);
    const out = scope.hold(2 * columns);
    const sums = scope.reserve(24 * columns);
    const { blockRow } = scope.exports;
    for (let r = 0; r < rows; r++) {
      const at = held.address + 4 * r * sidePx * plane.width;
      blockRow(at, plane.width, columns, sidePx, 0, out.address, out.address + 4 * columns, 0, sums);
      means.set(scope.floats(out.address, columns), r * columns);
      squares.set(scope.floats(out.address + 4 * columns, columns), r * columns);
    }
  });
  return { means, squares };
}

function joined(parts: readonly Uint32Array[]): Uint32Array {
  const out = new Uint32Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) {
    out.set(part, at);
    at += part.length;
  }
  return out;
}
