import { type Affine, applyX, applyY, poseAbout } from '../compute/affine.js';
import type { PairFreedom } from './pair-types.js';

/** A pose in parameters about a point of the moving picture; the same map as an {@link Affine}. */
export interface PairPose {
  /** The point, moving px. */
  readonly mx: number;
  readonly my: number;
  /** Where that point lies in the fixed picture minus (mx, my), px. */
  readonly shiftX: number;
  readonly shiftY: number;
  /** Radians, x towards y. */
  readonly turn: number;
  readonly logScale: number;
  /** Logarithm of the vertical stretch after the turn. */
  readonly logSqueeze: number;
}

/** Reads the parameters of a map about (mx, my); what the freedom does not allow is dropped. */
export function posePartsOf(map: Affine, freedom: PairFreedom, mx: number, my: number): PairPose {
  const shiftX = applyX(map, mx, my) - mx;
  const shiftY = applyY(map, mx, my) - my;
  const none = { mx, my, shiftX, shiftY, turn: 0, logScale: 0, logSqueeze: 0 };
  if (freedom === 'shift') return none;
  if (freedom !== 'squeezed') {
    const turn = Math.atan2(map.yx - map.xy, map.xx + map.yy);
    if (freedom === 'rigid') return { ...none, turn };
    return { ...none, turn, logScale: 0.5 * Math.log(Math.abs(map.xx * map.yy - map.xy * map.yx)) };
  }
  const scale = Math.hypot(map.xx, map.xy);
  const squeeze = Math.hypot(map.yx, map.yy) / scale;
  const turn = Math.atan2(map.yx / squeeze - map.xy, map.xx + map.yy / squeeze);
  return { ...none, turn, logScale: Math.log(scale), logSqueeze: Math.log(squeeze) };
}

/** Moving px -> fixed px. */
export function poseMap(pose: PairPose): Affine {
  return poseAbout(
    { x: pose.mx, y: pose.my },
    {
      shiftX: pose.shiftX,
      shiftY: pose.shiftY,
      rotationDeg: (pose.turn * 180) / Math.PI,
      scale: Math.exp(pose.logScale),
      squeeze: Math.exp(pose.logSqueeze),
    },
  );
}

/** The pose after a step in shift x, shift y, turn, log scale, log squeeze, as far as given. */
export function stepPose(pose: PairPose, delta: Float64Array): PairPose {
  return {
    ...pose,
    shiftX: pose.shiftX + delta[0]!,
    shiftY: pose.shiftY + delta[1]!,
    turn: pose.turn + (delta[2] ?? 0),
    logScale: pose.logScale + (delta[3] ?? 0),
    logSqueeze: pose.logSqueeze + (delta[4] ?? 0),
  };
}
