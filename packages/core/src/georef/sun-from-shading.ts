import { dot, fromSphere, type Vec3 } from '../sky/angles.js';
import type { BodyPoint } from '../sky/types.js';
import { type AlbedoMap, coarser, mapAt } from './albedo-map.js';
import { newGround } from './disc-sampler.js';
import { groundFinder, type PosedDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';

/** Half the number of samples across the disc. */
const RADIUS = 40;
const LIMB_SHARE = 0.97;
/** The Sun stands at most this far from the Moon's equator. */
const MOST_LATITUDE_DEG = 1.6;
const LONGITUDE_STEP_DEG = 4;
/** Displayed values of a map stand over this black. */
const FLOOR = 0.05;

/**
 * Where the Sun stands over the Moon, from the light on the disc alone: the point whose Lommel–Seeliger light on the
 * map's ground is most like the plate's. Good to a degree or two. Null when nothing is lit.
 */
export function sunFromShading(view: RoundView, pose: PosedDisc, map: AlbedoMap): BodyPoint | null {
  const samples = samplesOf(view, pose, coarser(map, 2 * Math.PI * RADIUS));
  if (samples.length === 0) return null;
  const observer = fromSphere(pose.subObserver.longitudeDeg, pose.subObserver.latitudeDeg);
  const score = (longitudeDeg: number, latitudeDeg: number): number =>
    likeness(samples, observer, fromSphere(longitudeDeg, latitudeDeg));
  let best = { longitudeDeg: 0, latitudeDeg: 0 };
  let most = Number.NEGATIVE_INFINITY;
  const middle = pose.subObserver.longitudeDeg;
  const attempt = (longitudeDeg: number, latitudeDeg: number): boolean => {
    if (Math.abs(latitudeDeg) > MOST_LATITUDE_DEG) return false;
    const found = score(longitudeDeg, latitudeDeg);
    if (found <= most) return false;
    most = found;
    best = { longitudeDeg, latitudeDeg };
    return true;
  };
  for (let off = -180; off < 180; off += LONGITUDE_STEP_DEG) attempt(middle + off, 0);
  for (let step = LONGITUDE_STEP_DEG / 2; step > 0.05; step /= 2) {
    for (let moved = true; moved; ) {
      moved = false;
      for (const sign of [-1, 1]) {
        if (attempt(best.longitudeDeg + sign * step, best.latitudeDeg)) moved = true;
        if (attempt(best.longitudeDeg, best.latitudeDeg + sign * step)) moved = true;
      }
    }
  }
  return most > 0 ? best : null;
}

interface Sample {
  readonly light: number;
  readonly albedo: number;
  readonly normal: Vec3;
}

function samplesOf({ light, coverage }: RoundView, pose: PosedDisc, map: AlbedoMap): Sample[] {
  const under = groundFinder(pose);
  const ground = newGround();
  const samples: Sample[] = [];
  for (let j = -RADIUS; j <= RADIUS; j++) {
    for (let i = -RADIUS; i <= RADIUS; i++) {
      const [x, y] = [i / RADIUS, j / RADIUS];
      if (Math.hypot(x, y) > LIMB_SHARE) continue;
      const [px, py] = [Math.round(pose.centreX + x * pose.radiusPx), Math.round(pose.centreY + y * pose.radiusPx)];
      if (!under(px, py, ground)) continue;
      if (px < 0 || py < 0 || px >= light.width || py >= light.height) continue;
      const at = py * light.width + px;
      if (coverage.data[at] === 0) continue;
      const { longitudeDeg, latitudeDeg } = ground;
      const albedo = mapAt(map, longitudeDeg, latitudeDeg) + FLOOR;
      samples.push({ light: light.data[at]!, albedo, normal: fromSphere(longitudeDeg, latitudeDeg) });
    }
  }
  return samples;
}

/** Share of the light's variation that a sky of its own level and the model together explain, with a rising light only. */
function likeness(samples: readonly Sample[], observer: Vec3, sun: Vec3): number {
  let [n, a, b, aa, bb, ab] = [0, 0, 0, 0, 0, 0];
  for (const { light, albedo, normal } of samples) {
    const down = dot(normal, sun);
    const model = down > 0 ? (albedo * down) / (down + Math.max(0.02, dot(normal, observer))) : 0;
    n++;
    a += model;
    b += light;
    aa += model * model;
    bb += light * light;
    ab += model * light;
  }
  const [va, vb] = [aa - (a * a) / n, bb - (b * b) / n];
  return va > 0 && vb > 0 ? (ab - (a * b) / n) / Math.sqrt(va * vb) : 0;
}
