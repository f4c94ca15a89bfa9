import type { Random } from '../compute/random.js';

/** Radius of the Moon in km (IAU 2015 sphere). */
export const MOON_RADIUS_KM = 1737.4;

/** A direction from the body's centre in the scene's axes: x right, y down, z towards the observer; unit length. */
export type Vector = readonly [number, number, number];

/**
 * The pixel grid on which the scene is drawn: the near side seen from afar (orthographic), truth px,
 * integers are pixel centres.
 */
export interface DiscGrid {
  readonly width: number;
  readonly height: number;
  /** Centre of the disc on the grid. */
  readonly centreX: number;
  readonly centreY: number;
  /** Radius of the smooth sphere. */
  readonly radiusPx: number;
}

/** Scalar product. */
export function dot(a: Vector, b: Vector): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** The vector brought to unit length. */
export function normalize(v: Vector): Vector {
  const k = 1 / Math.sqrt(dot(v, v));
  return [v[0] * k, v[1] * k, v[2] * k];
}

/** Two directions that are at right angles to `c` and to each other: the axes of its tangent plane. */
export function tangents(c: Vector): readonly [Vector, Vector] {
  const a = normalize(Math.abs(c[2]) < 0.9 ? [-c[1], c[0], 0] : [0, c[2], -c[1]]);
  return [a, [c[1] * a[2] - c[2] * a[1], c[2] * a[0] - c[0] * a[2], c[0] * a[1] - c[1] * a[0]]];
}

/** A direction drawn evenly from the part of the sphere whose z is at least `minZ`. */
export function randomDirection(random: Random, minZ: number): Vector {
  const z = minZ + (1 - minZ) * random.uniform();
  const angle = 2 * Math.PI * random.uniform();
  const r = Math.sqrt(Math.max(0, 1 - z * z));
  return [r * Math.cos(angle), r * Math.sin(angle), z];
}

/**
 * Calls `visit` for every grid pixel that shows the body within `angularRadius` of `centre`, and for a rim of three
 * pixels beyond the limb, which stand for the limb itself. Distances are chords on the unit sphere.
 */
export function visitCap(
  grid: DiscGrid,
  centre: Vector,
  angularRadius: number,
  visit: (index: number, x: number, y: number, z: number, chordSquared: number) => void,
): void {
  const [cx, cy, cz] = centre;
  const { radiusPx } = grid;
  const edge = 1 + 3 / radiusPx;
  const wide = angularRadius >= Math.PI / 2;
  const cos = Math.cos(angularRadius);
  const sin = Math.sin(angularRadius);
  const spanX = wide ? 2 : sin * Math.sqrt(Math.max(0, 1 - cx * cx)) + 3 / radiusPx;
  const spanY = wide ? 2 : sin * Math.sqrt(Math.max(0, 1 - cy * cy)) + 3 / radiusPx;
  const midX = wide ? 0 : cx * cos;
  const midY = wide ? 0 : cy * cos;
  const limit = wide ? 4 : 2 - 2 * cos;
  const x0 = Math.max(0, Math.floor(grid.centreX + radiusPx * (midX - spanX)));
  const x1 = Math.min(grid.width - 1, Math.ceil(grid.centreX + radiusPx * (midX + spanX)));
  const y0 = Math.max(0, Math.floor(grid.centreY + radiusPx * (midY - spanY)));
  const y1 = Math.min(grid.height - 1, Math.ceil(grid.centreY + radiusPx * (midY + spanY)));
  for (let row = y0; row <= y1; row++) {
    const v = (row - grid.centreY) / radiusPx;
    for (let column = x0; column <= x1; column++) {
      const u = (column - grid.centreX) / radiusPx;
      const r2 = u * u + v * v;
      if (r2 > edge * edge) continue;
      const k = r2 > 1 ? 1 / Math.sqrt(r2) : 1;
      const x = u * k;
      const y = v * k;
      const z = r2 < 1 ? Math.sqrt(1 - r2) : 0;
      const chordSquared = 2 - 2 * (x * cx + y * cy + z * cz);
      if (chordSquared <= limit) visit(row * grid.width + column, x, y, z, Math.max(0, chordSquared));
    }
  }
}

/** Calls `visit` for every grid pixel that shows the body or lies within three pixels of its limb. */
export function visitDisc(grid: DiscGrid, visit: (index: number, x: number, y: number, z: number) => void): void {
  visitCap(grid, [0, 0, 1], Math.PI / 2, visit);
}
