import type { GridBox } from '../compute/grid-box.js';
import { plateRows, SAMPLES, type StoredPlate } from './plate-rows.js';

/**
 * The part of a plate that its copies show (space 4): the largest upright rectangle that is covered throughout, since the edge
 * of what is covered is ragged. Where that one would cut off lit ground, the largest that holds all of it; the whole plate where
 * none does. `litCode` says from which sRGB code of 16 bits on ground counts as lit.
 */
export async function trimOf(plate: StoredPlate, litCode: number, signal?: AbortSignal): Promise<GridBox> {
  const { widthPx, heightPx } = plate;
  const largest = new LargestCovered(widthPx);
  const lit = { x0: widthPx, y0: heightPx, x1: -1, y1: -1 };
  for await (const { y0, rows, codes } of plateRows(plate, signal)) {
    for (let row = 0; row < rows; row++) {
      const line = codes.subarray(row * widthPx * SAMPLES, (row + 1) * widthPx * SAMPLES);
      largest.addRow(line);
      const [first, last] = litSpan(line, litCode);
      if (last < 0) continue;
      lit.x0 = Math.min(lit.x0, first);
      lit.x1 = Math.max(lit.x1, last);
      lit.y0 = Math.min(lit.y0, y0 + row);
      lit.y1 = y0 + row;
    }
  }
  if (largest.best.width > 0 && holds(largest.best, lit)) return largest.best;
  const holding = new LargestCovered(widthPx, lit);
  for await (const { rows, codes } of plateRows(plate, signal)) {
    for (let row = 0; row < rows; row++)
      holding.addRow(codes.subarray(row * widthPx * SAMPLES, (row + 1) * widthPx * SAMPLES));
  }
  return holding.best.width > 0 ? holding.best : { x0: 0, y0: 0, width: widthPx, height: heightPx };
}

/** First and last columns and rows. */
interface Span {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

function holds({ x0, y0, width, height }: GridBox, inside: Span): boolean {
  return x0 <= inside.x0 && y0 <= inside.y0 && x0 + width > inside.x1 && y0 + height > inside.y1;
}

/** Coverage from which on black behind a pixel is not seen: 99.5 %. */
const COVERED_CODE = 65208;

/** First and last column of lit ground that is covered at all; -1 as the last where there is none. */
function litSpan(line: Uint16Array, litCode: number): [number, number] {
  const isLit = (i: number): boolean =>
    line[i + 3]! > 0 && (line[i]! >= litCode || line[i + 1]! >= litCode || line[i + 2]! >= litCode);
  let last = line.length - SAMPLES;
  while (last >= 0 && !isLit(last)) last -= SAMPLES;
  if (last < 0) return [0, -1];
  let first = 0;
  while (!isLit(first)) first += SAMPLES;
  return [first / SAMPLES, last / SAMPLES];
}

/**
 * The largest rectangle of covered pixels, row by row: over each row stand columns of covered pixels, and the largest rectangle
 * under such a skyline is found with a stack. Memory grows with the width alone. Only those count that hold `inside`, if given.
 */
class LargestCovered {
  best: GridBox = { x0: 0, y0: 0, width: 0, height: 0 };
  readonly #heights: Uint32Array;
  readonly #starts: Uint32Array;
  readonly #levels: Uint32Array;
  #area = 0;
  #y = 0;
  readonly #inside: Span | undefined;

  constructor(width: number, inside?: Span) {
    this.#inside = inside;
    this.#heights = new Uint32Array(width);
    this.#starts = new Uint32Array(width + 1);
    this.#levels = new Uint32Array(width + 1);
  }

  addRow(line: Uint16Array): void {
    const width = this.#heights.length;
    let depth = 0;
    for (let x = 0; x <= width; x++) {
      let height = 0;
      if (x < width) height = this.#heights[x] = line[x * SAMPLES + 3]! >= COVERED_CODE ? this.#heights[x]! + 1 : 0;
      let start = x;
      while (depth > 0 && this.#levels[depth - 1]! >= height) {
        depth--;
        start = this.#starts[depth]!;
        this.#offer(start, x - start, this.#levels[depth]!);
      }
      this.#starts[depth] = start;
      this.#levels[depth++] = height;
    }
    this.#y++;
  }

  #offer(x0: number, width: number, height: number): void {
    if (width * height <= this.#area) return;
    const box = { x0, y0: this.#y - height + 1, width, height };
    if (this.#inside && !holds(box, this.#inside)) return;
    this.#area = width * height;
    this.best = box;
  }
}
