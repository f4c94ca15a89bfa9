import { ARCSEC, addScaled, DEG, dot, type Vec3 } from './angles.js';
import { apparentAltitudeDeg, trueAltitudeDeg } from './refraction.js';
import { type Air, requireRange, type SkyPoint } from './types.js';

/** Where the tangent plane (space 5) stands over the horizon. */
export interface AirView {
  /** Of the body's centre, without air. */
  readonly altitudeDeg: number;
  /** Position angle of the zenith at the body's centre. */
  readonly parallacticAngleDeg: number;
}

/**
 * What air makes of a place in the tangent plane (space 5): every point is raised along its own vertical, and the plane
 * is carried along with the body's centre. The disc comes out flattened, and a trace narrower. An {@link Ephemeris}
 * will do as the view.
 */
export function throughAir(view: AirView, air: Air, place: SkyPoint): SkyPoint {
  return lifted(view, place, view.altitudeDeg, apparentAltitudeDeg(view.altitudeDeg, air), (altitudeDeg) =>
    apparentAltitudeDeg(altitudeDeg, air),
  );
}

/** The exact inverse of {@link throughAir}. */
export function withoutAir(view: AirView, air: Air, place: SkyPoint): SkyPoint {
  return lifted(view, place, apparentAltitudeDeg(view.altitudeDeg, air), view.altitudeDeg, (altitudeDeg) =>
    trueAltitudeDeg(altitudeDeg, air),
  );
}

/** Moves a point along its vertical from a plane at one altitude of the centre to one at another. */
function lifted(
  { altitudeDeg, parallacticAngleDeg }: AirView,
  place: SkyPoint,
  fromDeg: number,
  toDeg: number,
  lift: (altitudeDeg: number) => number,
): SkyPoint {
  requireRange('altitudeDeg', altitudeDeg, -90, 90);
  const q = parallacticAngleDeg * DEG;
  const x = place.xArcsec / ARCSEC;
  const y = place.yArcsec / ARCSEC;
  // Axes: to the right, level towards the body, up.
  const from = planeAt(fromDeg);
  const towards = addScaled(
    addScaled(from.centre, RIGHT, x * Math.cos(q) + y * Math.sin(q)),
    from.upwards,
    y * Math.cos(q) - x * Math.sin(q),
  );
  const level = Math.hypot(towards[0], towards[1]);
  const altitude = lift(Math.atan2(towards[2], level) / DEG) * DEG;
  const moved: Vec3 = [towards[0] / level, towards[1] / level, Math.tan(altitude)];
  const to = planeAt(toDeg);
  const depth = dot(moved, to.centre);
  const right = (ARCSEC * dot(moved, RIGHT)) / depth;
  const up = (ARCSEC * dot(moved, to.upwards)) / depth;
  return {
    xArcsec: right * Math.cos(q) - up * Math.sin(q),
    yArcsec: right * Math.sin(q) + up * Math.cos(q),
  };
}

const RIGHT: Vec3 = [1, 0, 0];

function planeAt(altitudeDeg: number): { centre: Vec3; upwards: Vec3 } {
  const sin = Math.sin(altitudeDeg * DEG);
  const cos = Math.cos(altitudeDeg * DEG);
  return { centre: [0, cos, sin], upwards: [0, -sin, cos] };
}
