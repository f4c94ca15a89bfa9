import { quantile } from '../compute/quantile.js';
import type { CoverMap } from './cover-map.js';

/** The body's disc in the common space, proxy px. */
export interface CommonDisc {
  readonly x: number;
  readonly y: number;
  readonly radiusPx: number;
}

/** Lit ground that no frame shows. */
export interface MissingPart {
  /** Share of the whole disc; null where its limb could not be found. */
  readonly share: number | null;
  /** Its middle in words, as the frames show it: "at the top", "at the lower left". */
  readonly where: string;
  /** Where the middle of one more pass should lie: beyond the edge where the ground is cut off, as far as frames reach. */
  readonly aim: Offset;
}

/** From the middle of the disc, or of what is covered, in radii of it. */
export interface Offset {
  readonly right: number;
  readonly down: number;
}

/** Ground counts as lit from this share of the bright ground's light on. */
export const LIT = 0.12;
/** A cut shorter than this many cells is the limb grazing the edge. */
const LEAST_CELLS = 8;
/** Cuts no farther apart than this are one. */
const JOIN_CELLS = 5;
/** Just inside the limb the light of sampled frames says little, radii. */
const LIMB_MARGIN = 0.015;

/**
 * Finds lit ground that the coverage cuts off: covered lit cells, with lit ones behind them, whose neighbour is covered by no
 * frame and, where the disc is known, lies on it. What is missing is, then, the uncovered part of the disc beside that edge.
 *
 * @param reachPx how far beyond an edge the middle of frames may lie that still overlap with what is covered, proxy px
 */
export function findMissing(map: CoverMap, disc: CommonDisc | null, reachPx: number): MissingPart[] {
  const lit = LIT * brightLight(map);
  const cuts = groups(map, edgeCells(map, disc, lit)).filter((cells) => cells.length >= LEAST_CELLS);
  const parts: { cells: number[]; share: number | null; open: readonly Cell[] }[] = [];
  const taken = new Int32Array(map.width * map.height).fill(-1);
  for (const cells of cuts) {
    if (!disc) {
      parts.push({ cells, share: null, open: [] });
      continue;
    }
    const { share, metPart, open } = flood(map, cells, disc, taken, parts.length);
    // Two cuts that face each other have one part between them.
    if (metPart >= 0) parts[metPart]!.cells.push(...cells);
    else if (share > 0) parts.push({ cells, share, open });
  }
  const middle = disc ?? middleOf(map);
  return parts.map((part) => describe(map, part, middle, reachPx));
}

/** Light of the brightest ground, ray craters left out; of a thin crescent, which is a small part of what is covered, too. */
export function brightLight({ frames, light }: CoverMap): number {
  const covered = light.filter((_, i) => frames[i]! > 0);
  return covered.length === 0 ? 0 : Math.max(quantile(covered, 0.97), 0.5 * quantile(covered, 0.998));
}

const STEPS = [
  [-1, 0],
  [1, 0],
  [0, -1],
  [0, 1],
] as const;

/** Uncovered cells beside lit ground. */
function edgeCells(map: CoverMap, disc: CommonDisc | null, lit: number): number[] {
  const { width, height, frames, light } = map;
  const isLit = (x: number, y: number): boolean =>
    x >= 0 && y >= 0 && x < width && y < height && frames[y * width + x]! > 0 && light[y * width + x]! >= lit;
  const isCovered = (x: number, y: number): boolean =>
    x >= 0 && y >= 0 && x < width && y < height && frames[y * width + x]! > 0;
  const found = new Set<number>();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (!isLit(x, y)) continue;
      for (const [dx, dy] of STEPS) {
        if (isCovered(x + dx, y + dy) || !isLit(x - dx, y - dy) || !isLit(x - 2 * dx, y - 2 * dy)) continue;
        if (disc && radiiOf(map, disc, x + dx, y + dy) > 1 - LIMB_MARGIN) continue;
        found.add(y * width + x);
      }
    }
  }
  return [...found];
}

function radiiOf({ cellPx, x0, y0 }: CoverMap, disc: CommonDisc, x: number, y: number): number {
  return Math.hypot(x0 + (x + 0.5) * cellPx - disc.x, y0 + (y + 0.5) * cellPx - disc.y) / disc.radiusPx;
}

/** Cells that lie together. */
function groups({ width }: CoverMap, cells: readonly number[]): number[][] {
  const left = new Set(cells);
  const out: number[][] = [];
  for (const first of cells) {
    if (!left.delete(first)) continue;
    const group = [first];
    for (const at of group) {
      const [x, y] = [at % width, Math.floor(at / width)];
      for (const other of left) {
        if (Math.abs((other % width) - x) > JOIN_CELLS || Math.abs(Math.floor(other / width) - y) > JOIN_CELLS)
          continue;
        left.delete(other);
        group.push(other);
      }
    }
    out.push(group);
  }
  return out.sort((a, b) => b.length - a.length);
}

function describe(
  map: CoverMap,
  {
    cells,
    share,
    open,
  }: { readonly cells: readonly number[]; readonly share: number | null; readonly open: readonly Cell[] },
  middle: CommonDisc,
  reachPx: number,
): MissingPart {
  const { cellPx, x0, y0, width } = map;
  const mean = (of: (cell: number) => number): number => cells.reduce((sum, cell) => sum + of(cell), 0) / cells.length;
  const edge: Cell = [mean((cell) => cell % width), mean((cell) => Math.floor(cell / width))];
  const [outX, outY] = outwardOf(map, cells);
  // Two edges that face each other have the missing ground between them, and no way out of it.
  const depth = open.reduce((most, [x, y]) => Math.max(most, (x - edge[0]) * outX + (y - edge[1]) * outY), 0);
  const beyond = (cellsOut: number): Offset => ({
    right: (x0 + (edge[0] + cellsOut * outX + 0.5) * cellPx - middle.x) / middle.radiusPx,
    down: (y0 + (edge[1] + cellsOut * outY + 0.5) * cellPx - middle.y) / middle.radiusPx,
  });
  return { share, where: whereOf(beyond(depth / 2)), aim: beyond(Math.min(depth / 2, reachPx / cellPx)) };
}

/** Mean direction from covered ground over an edge; shorter than 1 where the edge bends. */
function outwardOf({ width, height, frames }: CoverMap, cells: readonly number[]): Cell {
  let [x, y] = [0, 0];
  for (const cell of cells) {
    const [u, v] = [cell % width, Math.floor(cell / width)];
    for (const [dx, dy] of STEPS) {
      const [a, b] = [u - dx, v - dy];
      if (a < 0 || b < 0 || a >= width || b >= height || frames[b * width + a] === 0) continue;
      x += dx;
      y += dy;
    }
  }
  const length = Math.hypot(x, y);
  return length < cells.length / 4 ? [0, 0] : [x / length, y / length];
}

/** Column and row, perhaps beyond the map. */
type Cell = readonly [number, number];

/**
 * Takes the uncovered part of the disc that hangs together with an edge: its share of the disc, its cells, and the part that
 * had taken it before, or -1. The map ends where the frames do; the disc may not.
 */
function flood(
  map: CoverMap,
  cells: readonly number[],
  disc: CommonDisc,
  taken: Int32Array,
  part: number,
): { readonly share: number; readonly metPart: number; readonly open: readonly Cell[] } {
  const { cellPx, x0, y0, width, height, frames } = map;
  const [ox, oy] = [(disc.x - x0) / cellPx, (disc.y - y0) / cellPx];
  const radius = disc.radiusPx / cellPx;
  const isOnMap = (x: number, y: number): boolean => x >= 0 && y >= 0 && x < width && y < height;
  const isOpen = (x: number, y: number): boolean =>
    Math.hypot(x + 0.5 - ox, y + 0.5 - oy) <= radius && !(isOnMap(x, y) && frames[y * width + x]! > 0);
  const seen = new Set<number>();
  const queue: Cell[] = cells.map((cell) => [cell % width, Math.floor(cell / width)]);
  let [count, metPart] = [0, -1];
  for (const [x, y] of queue) {
    for (const [dx, dy] of STEPS) {
      const [u, v] = [x + dx, y + dy];
      const name = (v + OFF_MAP) * 2 * OFF_MAP + u + OFF_MAP;
      if (seen.has(name) || !isOpen(u, v)) continue;
      seen.add(name);
      if (isOnMap(u, v)) {
        const at = v * width + u;
        if (taken[at]! >= 0) metPart = taken[at]!;
        if (taken[at]! >= 0) continue;
        taken[at] = part;
      }
      count++;
      queue.push([u, v]);
    }
  }
  return { share: metPart >= 0 ? 0 : count / (Math.PI * radius ** 2), metPart, open: queue };
}

/** Farther than this many cells no disc reaches beyond the map. */
const OFF_MAP = 1 << 16;

function middleOf({ cellPx, x0, y0, width, height }: CoverMap): CommonDisc {
  const radiusPx = (Math.min(width, height) * cellPx) / 2;
  return { x: x0 + (width * cellPx) / 2, y: y0 + (height * cellPx) / 2, radiusPx };
}

/** One of eight directions as the frames show it. */
export function whereOf({ right, down }: Offset): string {
  if (Math.hypot(right, down) < 0.25) return 'in the middle';
  const octant = (Math.round(Math.atan2(down, right) / (Math.PI / 4)) + 8) % 8;
  return DIRECTIONS[octant]!;
}

const DIRECTIONS = [
  'on the right',
  'at the lower right',
  'at the bottom',
  'at the lower left',
  'on the left',
  'at the upper left',
  'at the top',
  'at the upper right',
];
