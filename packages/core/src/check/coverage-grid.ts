import type { CoverMap } from './cover-map.js';
import { brightLight, type CommonDisc, LIT } from './missing.js';

/** The disc in small squares, as the frames show it, row by row from the upper left. */
export interface CoverageGrid {
  /** Squares along a side; the disc fills the grid. */
  readonly side: number;
  /** Sharp frames that show each square; -1 off the disc, 0 where none does. */
  readonly sharpFrames: readonly number[];
  /** Whether the square was seen lit. */
  readonly lit: readonly boolean[];
}

/** Squares along a side. */
const SIDE = 44;

/** Reduces a map to the disc, each square to the cell in its middle. */
export function gridOf(map: CoverMap, disc: CommonDisc): CoverageGrid {
  const lit = LIT * brightLight(map);
  const sharpFrames: number[] = [];
  const isLit: boolean[] = [];
  for (let row = 0; row < SIDE; row++) {
    for (let column = 0; column < SIDE; column++) {
      const [u, v] = [(2 * (column + 0.5)) / SIDE - 1, (2 * (row + 0.5)) / SIDE - 1];
      const x = Math.floor((disc.x + u * disc.radiusPx - map.x0) / map.cellPx);
      const y = Math.floor((disc.y + v * disc.radiusPx - map.y0) / map.cellPx);
      const isOn = x >= 0 && y >= 0 && x < map.width && y < map.height;
      const at = y * map.width + x;
      sharpFrames.push(Math.hypot(u, v) > 1 ? -1 : isOn ? map.sharp[at]! : 0);
      isLit.push(isOn && Math.hypot(u, v) <= 1 && map.light[at]! >= lit);
    }
  }
  return { side: SIDE, sharpFrames, lit: isLit };
}
