import type { Random } from '../compute/random.js';
import { craterProfile } from './crater-profile.js';
import type { Crater } from './craters.js';
import { type DiscGrid, dot, MOON_RADIUS_KM, tangents, type Vector, visitCap } from './sphere.js';

/** The fields that a crater is pressed into; changed in place. */
export interface StampTarget {
  readonly grid: DiscGrid;
  readonly heightKm: Float32Array;
  readonly fresh: Float32Array;
  readonly random: Random;
}

/** Entries of the table that holds the outline of a rim. */
const OUTLINE = 128;

/** Presses one crater into the ground: levels what was there, adds the profile, brightens what is newly dug. */
export function stampCrater(target: StampTarget, crater: Crater): void {
  const { grid, heightKm, fresh } = target;
  const angle = crater.diameterKm / 2 / MOON_RADIUS_KM;
  const radiusPx = angle * grid.radiusPx;
  const profile = craterProfile(crater.diameterKm, crater.wear, crater.trait);
  const groundKm = meanGround(grid, heightKm, crater.centre, angle);
  if (groundKm === undefined) return;
  const [e1, e2] = tangents(crater.centre);
  const detailed = radiusPx > 3.5;
  const outline = detailed ? rimOutline(crater.trait, crater.wear) : undefined;
  const glow = crater.wear < 0.3 ? (1 - crater.wear / 0.3) ** 2 : 0;
  const scale = 1 / (angle * angle);
  visitCap(grid, crater.centre, angle * profile.reach * 1.12, (i, x, y, z, chordSquared) => {
    let distance = Math.sqrt(chordSquared * scale);
    let turn = 0;
    if (outline !== undefined) {
      turn = Math.atan2(x * e2[0] + y * e2[1] + z * e2[2], x * e1[0] + y * e1[1] + z * e1[2]) / (2 * Math.PI) + 0.5;
      const at = turn * OUTLINE;
      const k = Math.floor(at) % OUTLINE;
      const a = outline[k]!;
      distance *= a + (outline[(k + 1) % OUTLINE]! - a) * (at - Math.floor(at));
    }
    if (distance >= profile.reach) return;
    const old = heightKm[i]!;
    heightKm[i] = groundKm + (old - groundKm) * profile.kept(distance) + profile.heightKm(distance, turn);
    const dug = distance < 1 ? 1 - crater.wear : 0;
    fresh[i] = fresh[i]! * (1 - 0.7 * dug) + glow * (distance < 1 ? 0.7 : 0.6 * Math.exp(-4.5 * (distance - 1)));
  });
}

/** Mean height on a ring outside the rim; undefined when the crater lies off the grid or behind the limb. */
function meanGround(grid: DiscGrid, heightKm: Float32Array, centre: Vector, angle: number): number | undefined {
  const [e1, e2] = tangents(centre);
  let sum = 0;
  let count = 0;
  for (let k = 0; k < 8; k++) {
    const c = 1.15 * angle * Math.cos((k * Math.PI) / 4);
    const s = 1.15 * angle * Math.sin((k * Math.PI) / 4);
    const p: Vector = [
      centre[0] + c * e1[0] + s * e2[0],
      centre[1] + c * e1[1] + s * e2[1],
      centre[2] + c * e1[2] + s * e2[2],
    ];
    if (p[2] < 0) continue;
    const norm = 1 / Math.sqrt(dot(p, p));
    const column = Math.round(grid.centreX + p[0] * norm * grid.radiusPx);
    const row = Math.round(grid.centreY + p[1] * norm * grid.radiusPx);
    if (column < 0 || row < 0 || column >= grid.width || row >= grid.height) continue;
    sum += heightKm[row * grid.width + column]!;
    count++;
  }
  return count === 0 ? undefined : sum / count;
}

/** Factor on the distance by direction: rims are a little polygonal, worn ones more ragged. */
function rimOutline(trait: number, wear: number): Float32Array {
  const out = new Float32Array(OUTLINE).fill(1);
  const strength = 0.018 + 0.03 * wear;
  for (let n = 2; n <= 11; n++) {
    const phase = 2 * Math.PI * ((trait * 7919 * n) % 1);
    const amplitude = (strength * (0.4 + ((trait * 104729 * n) % 1))) / Math.sqrt(n - 1);
    for (let k = 0; k < OUTLINE; k++) out[k]! += amplitude * Math.sin((2 * Math.PI * n * k) / OUTLINE + phase);
  }
  return out;
}
