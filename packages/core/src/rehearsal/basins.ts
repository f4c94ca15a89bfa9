import type { Random } from '../compute/random.js';
import { dot, normalize, randomDirection, tangents, type Vector } from './sphere.js';

/** A large impact basin, or the one wide lowland (`ringed` false). Sizes are angles in radians from its centre. */
export interface Basin {
  readonly centre: Vector;
  readonly radius: number;
  /** Depth of the bowl below the surroundings, km. */
  readonly depthKm: number;
  /** Height of the mountain arc on its rim, km. */
  readonly rimKm: number;
  /** Whether lava reached it. */
  readonly flooded: boolean;
  /** Level of the lava, km. */
  readonly levelKm: number;
}

/**
 * Draws the great basins: flooded ones gather on one side of the disc, as on the real near side, with one wide shallow
 * lowland among them, one isolated small sea towards the limb, and one dry basin in the highlands.
 */
export function drawBasins(random: Random): Basin[] {
  const side = random.uniform() * 2 * Math.PI;
  const tilt = 0.35 + 0.25 * random.uniform();
  const pole = fromAngles(side, tilt);
  const basins: Basin[] = [];
  const lowland = around(pole, 0.35 + 0.2 * random.uniform(), random);
  basins.push({
    centre: lowland,
    radius: 0.6 + 0.12 * random.uniform(),
    depthKm: 2.1,
    rimKm: 0,
    flooded: true,
    levelKm: -1,
  });
  const count = 6 + Math.floor(random.uniform() * 2);
  for (let attempt = 0; basins.length < count && attempt < 400; attempt++) {
    const centre = randomDirection(random, 0.2);
    const radius = 0.14 + 0.2 * random.uniform() ** 1.4;
    const distance = Math.acos(dot(centre, pole));
    if (random.uniform() > Math.exp(-((distance / 0.58) ** 2))) continue;
    if (crowded(basins, centre, radius)) continue;
    const depthKm = 2.2 + 4 * radius;
    basins.push({
      centre,
      radius,
      depthKm,
      rimKm: 1.4 + 2.2 * random.uniform(),
      flooded: true,
      levelKm: -1 - 0.5 * random.uniform(),
    });
  }
  const far = around(pole, 1.0 + 0.15 * random.uniform(), random);
  if (far[2] > 0.25)
    basins.push({ centre: far, radius: 0.125, depthKm: 3.2, rimKm: 2.2, flooded: true, levelKm: -1.6 });
  const dry = normalize([-pole[0] + 0.4 * random.normal(), -pole[1] + 0.4 * random.normal(), 0.55]);
  basins.push({ centre: dry, radius: 0.17, depthKm: 1.5, rimKm: 1.3, flooded: false, levelKm: -9 });
  return basins;
}

function crowded(basins: readonly Basin[], centre: Vector, radius: number): boolean {
  return basins.some((b) => b.rimKm > 0 && Math.acos(dot(b.centre, centre)) < 0.7 * (b.radius + radius));
}

function fromAngles(direction: number, fromCentre: number): Vector {
  const r = Math.sin(fromCentre);
  return [r * Math.cos(direction), r * Math.sin(direction), Math.cos(fromCentre)];
}

/** A direction `angle` away from `from`, towards a random side. */
function around(from: Vector, angle: number, random: Random): Vector {
  const [a, b] = tangents(from);
  const turn = 2 * Math.PI * random.uniform();
  const ca = Math.cos(turn) * Math.sin(angle);
  const cb = Math.sin(turn) * Math.sin(angle);
  const c = Math.cos(angle);
  return [
    from[0] * c + a[0] * ca + b[0] * cb,
    from[1] * c + a[1] * ca + b[1] * cb,
    from[2] * c + a[2] * ca + b[2] * cb,
  ];
}
