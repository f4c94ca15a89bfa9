import type { PlateDisc } from './whereabouts.js';

/** The edge of a body's disc on the plate (space 4): an ellipse. */
export interface LimbEllipse {
  readonly centreX: number;
  readonly centreY: number;
  /** Semi-axes, px. */
  readonly aPx: number;
  readonly bPx: number;
  /** Where the first semi-axis points, degrees from +x towards +y, which is clockwise on the screen. */
  readonly angleDeg: number;
}

/** The edge of a disc whose place is known. */
export function limbOf({ x, y, semiMajorPx, semiMinorPx, majorDeg }: PlateDisc): LimbEllipse {
  return { centreX: x, centreY: y, aPx: semiMajorPx, bPx: semiMinorPx, angleDeg: majorDeg - 90 };
}

/** A place beside the edge of an ellipse. */
export interface LimbPlace {
  /** Distance from the edge, px, outwards positive; to first order, which is true near the edge. */
  readonly distancePx: number;
  /** Unit vector outwards, across the edge. */
  readonly normalX: number;
  readonly normalY: number;
}

/** Measures places against an ellipse. */
export interface LimbGauge {
  /** Squared radius in units of the ellipse: 1 on the edge. */
  squared(x: number, y: number): number;
  place(x: number, y: number): LimbPlace;
}

/** A gauge for many places of one ellipse. */
export function gaugeOf({ centreX, centreY, aPx, bPx, angleDeg }: LimbEllipse): LimbGauge {
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  const along = (x: number, y: number): number => ((x - centreX) * cos + (y - centreY) * sin) / aPx;
  const across = (x: number, y: number): number => ((y - centreY) * cos - (x - centreX) * sin) / bPx;
  return {
    squared: (x, y) => along(x, y) ** 2 + across(x, y) ** 2,
    place: (x, y) => {
      const [u, v] = [along(x, y), across(x, y)];
      const radius = Math.hypot(u, v);
      const [gu, gv] = [u / aPx, v / bPx];
      const slope = Math.hypot(gu, gv);
      if (slope === 0) return { distancePx: -Math.min(aPx, bPx), normalX: 0, normalY: 0 };
      return {
        distancePx: ((radius - 1) * radius) / slope,
        normalX: (gu * cos - gv * sin) / slope,
        normalY: (gu * sin + gv * cos) / slope,
      };
    },
  };
}

/** The point of the edge at an angle of the ellipse's own circle, radians from the first semi-axis. */
export function edgeAt({ centreX, centreY, aPx, bPx, angleDeg }: LimbEllipse, angle: number): { x: number; y: number } {
  const turn = (angleDeg * Math.PI) / 180;
  const [u, v] = [aPx * Math.cos(angle), bPx * Math.sin(angle)];
  return {
    x: centreX + u * Math.cos(turn) - v * Math.sin(turn),
    y: centreY + u * Math.sin(turn) + v * Math.cos(turn),
  };
}
