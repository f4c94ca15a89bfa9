import type { OpenStill } from '../capture/open-still.js';
import { binPlane } from '../compute/downsample.js';
import { luminance, type Plane } from '../compute/image.js';
import { BLOCK_PX, type BlockLight, lightOfBlocks } from './blocks.js';
import { standingOut, unlessNoisy } from './defects.js';
import { noiseOfRows } from './noise.js';

/** What is taken from a frame at its full scale. */
export interface ReducedFrame {
  readonly light: BlockLight;
  /** Pixels that stand out, by index; see {@link standingOut}. */
  readonly spikes: Uint32Array;
}

/** Goes through a frame once, some rows of blocks at a time, and fills its proxy: luminance, binned by a factor. */
export function reduceFrame(
  still: Pick<OpenStill, 'width' | 'height' | 'channels' | 'rows'>,
  binFactor: number,
  proxy: Plane,
): ReducedFrame {
  const { width, height, channels } = still;
  const side = BLOCK_PX * binFactor;
  const blockRows = Math.floor(height / side);
  const columns = Math.floor(width / side);
  const means = Array.from({ length: channels }, () => new Float32Array(columns * blockRows));
  const clipped = new Float32Array(columns * blockRows);
  const noise = firstNoise(still);
  const spikes: number[] = [];
  const bandRows = side * Math.max(1, Math.floor(BAND_ROWS / side));
  // A row above and one below, which tell whether a pixel stands out.
  const buffers = Array.from({ length: channels }, () => new Float32Array(width * (bandRows + 2)));
  for (let top = 0; top < height; top += bandRows) {
    const first = Math.max(0, top - 1);
    const last = Math.min(height, top + bandRows + 1);
    const held = buffers.map((b) => b.subarray(0, width * (last - first)));
    still.rows(first, held);
    for (const i of standingOut({ width, height: last - first, planes: held }, noise)) spikes.push(i + first * width);
    const rows = Math.min(bandRows, height - top);
    const planes = held.map((p) => p.subarray((top - first) * width, (top - first + rows) * width));
    const band = { width, height: rows, planes };
    const small = binPlane(luminance(band), binFactor);
    proxy.data.set(small.data, (top / binFactor) * proxy.width);
    const light = lightOfBlocks(band, binFactor);
    const at = (top / side) * columns;
    for (const [c, mean] of light.means.entries()) means[c]!.set(mean, at);
    clipped.set(light.clipped, at);
  }
  return { light: { means, clipped }, spikes: unlessNoisy(spikes, width * height) };
}

const BAND_ROWS = 128;

/** Noise of the first channel, from a few of its rows. */
function firstNoise({
  width,
  height,
  channels,
  rows,
}: Pick<OpenStill, 'width' | 'height' | 'channels' | 'rows'>): number {
  const held = Array.from({ length: channels }, () => new Float32Array(3 * width));
  return noiseOfRows(width, height, (y) => {
    rows(y - 1, held);
    return held[0]!;
  });
}
