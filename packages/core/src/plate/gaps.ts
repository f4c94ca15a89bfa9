import { createPlane, luminance, type Plane } from '../compute/image.js';
import { quantile } from '../compute/quantile.js';
import { bandsOf, type PlateSource } from './plate-source.js';

/** A place where the coverage ends on lit ground, so that a part of the body is missing. */
export interface Gap {
  /** The place in plain words. */
  readonly where: string;
  /** Box around the edge where the ground is cut off, plate px; null when a whole pass is missing. */
  readonly box: { readonly x: number; readonly y: number; readonly width: number; readonly height: number } | null;
}

/** Index of the strip that a covered plate pixel belongs to. */
export type OwnerOf = (x: number, y: number) => number;

/** The side of a strip at which ground is cut off. */
type Side = 'left' | 'right' | 'upper' | 'lower';

/** A stretch of cut-off ground along one side of one strip, in cells of the reduced plate. */
interface Cut {
  readonly side: Side;
  readonly owner: number;
  x0: number;
  y0: number;
  x1: number;
  y1: number;
  cells: number;
}

/** The plate is looked at in cells; this many along its longer side. */
const CELLS = 400;
/** Ground counts as lit from this share of the range between sky and bright ground on. */
const LIT_SHARE = 0.12;
/** A cut shorter than this many cells is the limb grazing the edge. */
const LEAST_CELLS = 5;

/**
 * Finds where the body is cut off: edges of the coverage that run through lit ground. Ground that ends in the dark, at
 * the limb or beyond the terminator, is whole. Cuts of two strips that face each other are one gap between them.
 *
 * @param ownerOf index of the strip that a covered plate pixel belongs to
 * @param names names of the strips, by index
 */
export function findGaps(source: PlateSource, ownerOf: OwnerOf, names: readonly string[]): Gap[] {
  const factor = Math.max(1, Math.ceil(Math.max(source.width, source.height) / CELLS));
  const grid = reduceToCells(source, ownerOf, factor);
  const cuts = findCuts(grid, source, factor).filter((cut) => cut.cells >= LEAST_CELLS);
  const gaps: Gap[] = [];
  const used = new Set<Cut>();
  for (const cut of cuts) {
    if (used.has(cut)) continue;
    const facing = cuts.find((other) => !used.has(other) && faces(cut, other));
    used.add(cut);
    if (facing) used.add(facing);
    gaps.push({ where: words(cut, facing, names), box: boxOf(facing ? [cut, facing] : [cut], factor) });
  }
  return onePerPlace(gaps);
}

/** Joins gaps of the same words into one box, and drops the cuts that belong to a gap between the same two passes. */
function onePerPlace(gaps: readonly Gap[]): Gap[] {
  const between = gaps.filter((gap) => gap.where.startsWith('between'));
  const places = new Map<string, Gap>();
  for (const gap of gaps) {
    const known = places.get(gap.where);
    if (!between.includes(gap) && between.some((other) => touches(gap.box!, other.box!))) continue;
    places.set(gap.where, known ? { where: gap.where, box: union(known.box!, gap.box!) } : gap);
  }
  return [...places.values()];
}

type Box = NonNullable<Gap['box']>;

function touches(a: Box, b: Box): boolean {
  return a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
}

function union(a: Box, b: Box): Box {
  const x = Math.min(a.x, b.x);
  const y = Math.min(a.y, b.y);
  return {
    x,
    y,
    width: Math.max(a.x + a.width, b.x + b.width) - x,
    height: Math.max(a.y + a.height, b.y + b.height) - y,
  };
}

interface Cells {
  readonly width: number;
  readonly height: number;
  readonly light: Plane;
  readonly covered: Uint8Array;
  readonly owner: Uint8Array;
}

function reduceToCells(source: PlateSource, ownerOf: OwnerOf, factor: number): Cells {
  const width = Math.ceil(source.width / factor);
  const height = Math.ceil(source.height / factor);
  const light = createPlane(width, height);
  const covered = new Uint8Array(width * height);
  const owner = new Uint8Array(width * height);
  for (const { image, coverage, y0 } of bandsOf(source, factor)) {
    const levels = luminance(image).data;
    for (let top = 0; top < image.height; top += factor) {
      const rows = Math.min(factor, image.height - top);
      for (let x = 0; x < width; x++) {
        const columns = Math.min(factor, image.width - x * factor);
        let sum = 0;
        let count = 0;
        let last = -1;
        for (let v = top; v < top + rows; v++) {
          for (let i = v * image.width + x * factor, end = i + columns; i < end; i++) {
            if (!(coverage.data[i]! > 0)) continue;
            count++;
            sum += levels[i]!;
            last = i;
          }
        }
        const k = ((y0 + top) / factor) * width + x;
        covered[k] = count * 2 > rows * columns ? 1 : 0;
        light.data[k] = count > 0 ? sum / count : 0;
        if (last >= 0) owner[k] = ownerOf(last % image.width, y0 + Math.floor(last / image.width));
      }
    }
  }
  return { width, height, light, covered, owner };
}

const STEPS: readonly (readonly [Side, number, number])[] = [
  ['left', -1, 0],
  ['right', 1, 0],
  ['upper', 0, -1],
  ['lower', 0, 1],
];

function findCuts(grid: Cells, source: PlateSource, factor: number): Cut[] {
  const { width, height, covered } = grid;
  const levels = Array.from(grid.light.data).filter((_, k) => covered[k] === 1);
  if (levels.length === 0) return [];
  const sky = quantile(levels, 0.02);
  const lit = sky + LIT_SHARE * (quantile(levels, 0.99) - sky);
  const cuts: Cut[] = [];
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const k = y * width + x;
      if (covered[k] === 0 || grid.light.data[k]! < lit) continue;
      for (const [side, dx, dy] of STEPS) {
        if (isCovered(grid, x + dx, y + dy)) continue;
        const inner = isCovered(grid, x - 2 * dx, y - 2 * dy) && grid.light.data[k - 2 * dx - 2 * dy * width]! >= lit;
        if (inner && edgeLight(source, x, y, dx, dy, factor) >= lit) join(cuts, side, grid.owner[k]!, x, y);
      }
    }
  }
  return cuts;
}

/** Mean light of the outermost covered pixels of a cell towards (dx, dy): what the edge of the coverage runs through. */
function edgeLight(source: PlateSource, x: number, y: number, dx: number, dy: number, factor: number): number {
  // The cell and the one beside it; the outermost pixels of a row or column of both come first.
  const left = Math.max(0, (dx < 0 ? x - 1 : x) * factor);
  const top = Math.max(0, (dy < 0 ? y - 1 : y) * factor);
  const right = Math.min(source.width, (dx > 0 ? x + 2 : x + 1) * factor);
  const bottom = Math.min(source.height, (dy > 0 ? y + 2 : y + 1) * factor);
  const { image, coverage } = source.read({ x0: left, y0: top, width: right - left, height: bottom - top });
  const light = luminance(image).data;
  const { width, height } = image;
  const along = dx === 0 ? width : height;
  const depth = dx === 0 ? height : width;
  let sum = 0;
  let count = 0;
  for (let across = 0; across < along; across++) {
    for (let d = 0; d < depth; d++) {
      const inward = dx + dy > 0 ? depth - 1 - d : d;
      const i = dx === 0 ? inward * width + across : across * width + inward;
      if (!(coverage.data[i]! > 0)) continue;
      sum += light[i]!;
      count++;
      break;
    }
  }
  return count > 0 ? sum / count : 0;
}

function isCovered(grid: Cells, x: number, y: number): boolean {
  return x >= 0 && y >= 0 && x < grid.width && y < grid.height && grid.covered[y * grid.width + x] === 1;
}

/** Cells of one side and strip that lie no farther apart than this belong to one cut. */
const JOIN_CELLS = 12;

function join(cuts: Cut[], side: Side, owner: number, x: number, y: number): void {
  const near = cuts.find(
    (c) =>
      c.side === side &&
      c.owner === owner &&
      x >= c.x0 - JOIN_CELLS &&
      x <= c.x1 + JOIN_CELLS &&
      y >= c.y0 - JOIN_CELLS &&
      y <= c.y1 + JOIN_CELLS,
  );
  if (!near) {
    cuts.push({ side, owner, x0: x, y0: y, x1: x, y1: y, cells: 1 });
    return;
  }
  near.x0 = Math.min(near.x0, x);
  near.x1 = Math.max(near.x1, x);
  near.y0 = Math.min(near.y0, y);
  near.y1 = Math.max(near.y1, y);
  near.cells++;
}

/** Whether two cuts look at each other across uncovered ground. */
function faces(a: Cut, b: Cut): boolean {
  if (a.owner === b.owner) return false;
  const alongX = Math.min(a.x1, b.x1) >= Math.max(a.x0, b.x0);
  const alongY = Math.min(a.y1, b.y1) >= Math.max(a.y0, b.y0);
  if (a.side === 'lower' && b.side === 'upper') return alongX && a.y1 < b.y0;
  if (a.side === 'upper' && b.side === 'lower') return alongX && b.y1 < a.y0;
  if (a.side === 'right' && b.side === 'left') return alongY && a.x1 < b.x0;
  if (a.side === 'left' && b.side === 'right') return alongY && b.x1 < a.x0;
  return false;
}

function words(cut: Cut, facing: Cut | undefined, names: readonly string[]): string {
  const name = `"${names[cut.owner]}"`;
  if (facing) return `between the passes ${name} and "${names[facing.owner]}"`;
  return `at the ${cut.side} edge of the pass ${name}`;
}

function boxOf(cuts: readonly Cut[], factor: number): Gap['box'] {
  const x = Math.min(...cuts.map((c) => c.x0)) * factor;
  const y = Math.min(...cuts.map((c) => c.y0)) * factor;
  const right = (Math.max(...cuts.map((c) => c.x1)) + 1) * factor;
  const bottom = (Math.max(...cuts.map((c) => c.y1)) + 1) * factor;
  return { x, y, width: right - x, height: bottom - y };
}
