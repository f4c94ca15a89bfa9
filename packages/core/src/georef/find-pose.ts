import { quantile } from '../compute/quantile.js';
import { type AlbedoMap, coarser, mapAt } from './albedo-map.js';
import { newGround } from './disc-sampler.js';
import { groundFinder, type ViewDisc } from './posed-disc.js';
import type { RoundView } from './round-view.js';

/** How the body is turned on a view: its axis clockwise from up, and where the observer stands, degrees. */
export interface Turned {
  readonly axisDeg: number;
  readonly longitudeDeg: number;
  readonly latitudeDeg: number;
}

/** The best of all turns. */
export interface FoundTurn extends Turned {
  /** Correlation with the map, shading taken out. */
  readonly correlation: number;
  /** The best one at any axis that lies further than {@link APART_DEG} away. */
  readonly rival: number;
}

/** Distance at which a body's libration no longer depends on it. */
const DISTANCE_RADII = 221;
/** Radius at which patterns are compared, px. */
const RADIUS_PX = 56;
/** Beyond this share of the radius the ground is too slanted. */
const LIMB_SHARE = 0.94;
/** Darker ground than this share of the bright ground is shadow and terminator. */
const LEAST_LIGHT = 0.2;
const LEAST_PIXELS = 400;
const AXIS_STEP_DEG = 4;
/** Coarse steps of the libration, which reaches 8°. */
const LIBRATIONS_DEG = [-5.5, 0, 5.5];
const MOST_LIBRATION_DEG = 9.5;
const APART_DEG = 20;
const KEPT = 6;

/**
 * Finds how the Moon is turned on a view by its pattern of dark and bright ground alone: a map is laid on the disc in
 * every turn and a net of librations, shading (any cubic over the disc) is taken out of the logarithms of both, and the
 * best correlations are climbed. Null when too little of the disc is lit.
 */
export function findTurn(view: RoundView, disc: ViewDisc, map: AlbedoMap): FoundTurn | null {
  const ground = litGround(view, disc);
  if (ground.u.length < LEAST_PIXELS) return null;
  const small = coarser(map, 2 * Math.PI * RADIUS_PX);
  const basis = cubicBasis(ground);
  const plate = residual(ground.value, basis);
  const score = (turn: Turned): number => likeness(plate, basis, ground, small, turn);
  const all: { turn: Turned; correlation: number }[] = [];
  for (let axisDeg = -180; axisDeg < 180; axisDeg += AXIS_STEP_DEG) {
    let best: { turn: Turned; correlation: number } | undefined;
    for (const longitudeDeg of LIBRATIONS_DEG) {
      for (const latitudeDeg of LIBRATIONS_DEG) {
        const turn = { axisDeg, longitudeDeg, latitudeDeg };
        const correlation = score(turn);
        if (!best || correlation > best.correlation) best = { turn, correlation };
      }
    }
    all.push(best!);
  }
  const climbed = all
    .sort((a, b) => b.correlation - a.correlation)
    .slice(0, KEPT)
    .map(({ turn }) => climb(turn, score))
    .sort((a, b) => b.correlation - a.correlation);
  const best = climbed[0]!;
  const apart = [...climbed, ...all].filter(({ turn }) => awayDeg(turn.axisDeg, best.turn.axisDeg) > APART_DEG);
  return {
    ...best.turn,
    correlation: best.correlation,
    rival: apart.reduce((most, { correlation }) => Math.max(most, correlation), 0),
  };
}

function awayDeg(a: number, b: number): number {
  return Math.abs(((((a - b + 180) % 360) + 360) % 360) - 180);
}

/** Lit places of the disc's plane, its axis upwards on the view, and the logarithm of their light. */
interface LitGround {
  readonly u: Float64Array;
  readonly v: Float64Array;
  readonly value: Float64Array;
}

function litGround({ light, coverage }: RoundView, { centreX, centreY, radiusPx }: ViewDisc): LitGround {
  const step = radiusPx / RADIUS_PX;
  const found: [number, number, number][] = [];
  for (let j = -RADIUS_PX; j <= RADIUS_PX; j++) {
    for (let i = -RADIUS_PX; i <= RADIUS_PX; i++) {
      const [u, v] = [i / RADIUS_PX, j / RADIUS_PX];
      if (Math.hypot(u, v) > LIMB_SHARE) continue;
      const value = meanAround(light, coverage, centreX + i * step, centreY + j * step, step / 2);
      if (value !== undefined) found.push([u, v, value]);
    }
  }
  if (found.length === 0) return { u: new Float64Array(), v: new Float64Array(), value: new Float64Array() };
  const bright = quantile(
    found.map(([, , value]) => value),
    0.95,
  );
  const lit = found.filter(([, , value]) => value > LEAST_LIGHT * bright);
  return {
    u: Float64Array.from(lit, ([u]) => u),
    v: Float64Array.from(lit, ([, v]) => v),
    value: Float64Array.from(lit, ([, , value]) => Math.log(value)),
  };
}

/** Mean light of the covered pixels of a square; undefined unless all are covered. */
function meanAround(
  light: RoundView['light'],
  coverage: RoundView['coverage'],
  x: number,
  y: number,
  half: number,
): number | undefined {
  const [x0, x1] = [Math.round(x - half), Math.max(Math.round(x - half), Math.round(x + half - 1e-6))];
  const [y0, y1] = [Math.round(y - half), Math.max(Math.round(y - half), Math.round(y + half - 1e-6))];
  if (x0 < 0 || y0 < 0 || x1 >= light.width || y1 >= light.height) return undefined;
  let sum = 0;
  for (let j = y0; j <= y1; j++) {
    for (let i = x0; i <= x1; i++) {
      if (coverage.data[j * light.width + i] === 0) return undefined;
      sum += light.data[j * light.width + i]!;
    }
  }
  return sum / ((x1 - x0 + 1) * (y1 - y0 + 1));
}

function likeness(
  plate: Float64Array,
  basis: readonly Float64Array[],
  { u, v }: LitGround,
  map: AlbedoMap,
  { axisDeg, longitudeDeg, latitudeDeg }: Turned,
): number {
  const at = { centreX: 0, centreY: 0, radiusPx: 1, distanceRadii: DISTANCE_RADII };
  const under = groundFinder({ ...at, axisDeg, subObserver: { longitudeDeg, latitudeDeg } });
  const ground = newGround();
  const values = new Float64Array(u.length);
  for (let k = 0; k < u.length; k++) {
    under(u[k]!, v[k]!, ground);
    values[k] = Math.log(mapAt(map, ground.longitudeDeg, ground.latitudeDeg) + FLOOR);
  }
  const own = residual(values, basis);
  let [ab, bb, aa] = [0, 0, 0];
  for (let k = 0; k < own.length; k++) {
    ab += own[k]! * plate[k]!;
    bb += own[k]! ** 2;
    aa += plate[k]! ** 2;
  }
  return ab / Math.sqrt(aa * bb + Number.MIN_VALUE);
}

/** Displayed values of a map stand over this black. */
const FLOOR = 0.05;

/** Climbs by steps that shrink, one unknown at a time. */
function climb(start: Turned, score: (turn: Turned) => number): { turn: Turned; correlation: number } {
  let turn = start;
  let correlation = score(turn);
  for (let step = 2; step > 0.1; ) {
    let better = false;
    for (const key of ['axisDeg', 'longitudeDeg', 'latitudeDeg'] as const) {
      for (const sign of [-1, 1]) {
        const next = { ...turn, [key]: turn[key] + sign * step };
        if (key !== 'axisDeg' && Math.abs(next[key]) > MOST_LIBRATION_DEG) continue;
        const found = score(next);
        if (found <= correlation) continue;
        turn = next;
        correlation = found;
        better = true;
      }
    }
    if (!better) step /= 2;
  }
  return { turn, correlation };
}

/** Orthonormal polynomials up to the third degree on the given places. */
function cubicBasis({ u, v }: LitGround): Float64Array[] {
  const basis: Float64Array[] = [];
  for (let degree = 0; degree <= 3; degree++) {
    for (let p = 0; p <= degree; p++) {
      const column = u.map((x, k) => x ** (degree - p) * v[k]! ** p);
      const rest = residual(residual(column, basis), basis);
      const length = Math.sqrt(rest.reduce((sum, r) => sum + r * r, 0));
      if (length > 1e-9) basis.push(rest.map((r) => r / length));
    }
  }
  return basis;
}

/** What is left of a column without its part in an orthonormal basis. */
function residual(column: Float64Array, basis: readonly Float64Array[]): Float64Array {
  const rest = Float64Array.from(column);
  for (const one of basis) {
    let dot = 0;
    for (let k = 0; k < rest.length; k++) dot += rest[k]! * one[k]!;
    for (let k = 0; k < rest.length; k++) rest[k]! -= dot * one[k]!;
  }
  return rest;
}
