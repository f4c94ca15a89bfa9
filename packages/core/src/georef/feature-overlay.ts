import type { PlateFeature, Whereabouts } from '../plate/whereabouts.js';
import { DEG } from '../sky/angles.js';
import { type BodyPose, bodyToPlate, type PlatePlace } from './body-pose.js';
import { bodyPoseOf } from './describe-where.js';

/** Features are drawn from this share of the disc's radius up, so that names stay readable; never below 15 km. */
const LEAST_SHARE = 0.035;
/** Craters are ringed; of other ground the table has only a box, and rilles, ridges and lettered craters would crowd the view. */
const RINGED = 'crater';
const NAMED = new Set([
  RINGED,
  'mare',
  'oceanus',
  'lacus',
  'sinus',
  'palus',
  'mons',
  'montes',
  'vallis',
  'rupes',
  'swirl',
]);
/** Corners of a ring. */
const RING = 36;

/**
 * An SVG drawing in the plate's own pixels to lay over it: the limb, the axis' ends, and craters and regions that are
 * lit and covered. Names that would run into one drawn before are left out, larger features first.
 */
export function featureOverlay(where: Whereabouts, widthPx: number, heightPx: number): string {
  const { disc, axisDeg } = where;
  const size = Math.max(8, disc.semiMajorPx / 50);
  const line = size / 12;
  const pose = bodyPoseOf(where, where.body);
  const shown = notableFeatures(where);
  const taken: Box[] = [];
  const marks = shown.flatMap((feature) => markOf(feature, pose, size, taken, widthPx));
  const turn = disc.majorDeg - 90;
  return `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="${widthPx}" height="${heightPx}" viewBox="-0.5 -0.5 ${widthPx} ${heightPx}" role="img">
<title>Named features of the ${where.body}</title>
<g fill="none" stroke="#9fd3ff" stroke-width="${round(line)}">
<ellipse cx="${round(disc.x)}" cy="${round(disc.y)}" rx="${round(disc.semiMajorPx)}" ry="${round(disc.semiMinorPx)}" transform="rotate(${round(turn)} ${round(disc.x)} ${round(disc.y)})" stroke-dasharray="${round(size)} ${round(size)}"/>
${[0, 180].map((end) => tick(disc, axisDeg + end, size)).join('\n')}
${marks.map(({ outline }) => outline).join('\n')}
</g>
<g fill="#ffffff" stroke="#000000" stroke-width="${round(line * 2)}" stroke-opacity="0.6" paint-order="stroke" font-family="sans-serif" font-size="${round(size)}">
${marks.map(({ label }) => label).join('\n')}
</g>
</svg>
`;
}

/** The features that are large enough on the disc to be named on it, lit and covered, the largest first. */
export function notableFeatures({ features, disc, kmPerPx }: Whereabouts): PlateFeature[] {
  return features
    .filter(({ kind }) => NAMED.has(kind))
    .filter(({ lit, covered, diameterKm }) => lit && covered && diameterKm >= LEAST_SHARE * disc.semiMajorPx * kmPerPx)
    .sort((a, b) => b.diameterKm - a.diameterKm || (a.name < b.name ? -1 : 1));
}

interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

function markOf(
  feature: PlateFeature,
  pose: BodyPose,
  size: number,
  taken: Box[],
  widthPx: number,
): { readonly outline: string; readonly label: string }[] {
  const { name, kind, x, y } = feature;
  const ring = kind === RINGED ? ringOf(feature, pose) : [];
  const width = 0.58 * size * name.length;
  const left = kind === RINGED ? Math.max(x, ...ring.map((point) => point.x)) + size / 3 : x - width / 2;
  const box = { x: left, y: y - 0.6 * size, width, height: 1.2 * size };
  const clash = taken.some(
    (b) => box.x < b.x + b.width && b.x < box.x + box.width && box.y < b.y + b.height && b.y < box.y + box.height,
  );
  if (clash || box.x < 0 || box.x + width > widthPx) return [];
  taken.push(box);
  const path = ring.map((point) => `${round(point.x)} ${round(point.y)}`).join(' L');
  const outline = ring.length > 0 ? `<path d="M${path} Z"/>` : '';
  return [{ outline, label: `<text x="${round(left)}" y="${round(y + 0.35 * size)}">${escaped(name)}</text>` }];
}

/** A crater's rim as it is seen, a circle on the sphere; the part of it behind the limb is left out. */
function ringOf({ longitudeDeg, latitudeDeg, diameterKm }: PlateFeature, pose: BodyPose): PlatePlace[] {
  const reach = diameterKm / 2 / pose.frame.radiusKm;
  const latitude = latitudeDeg * DEG;
  return Array.from({ length: RING }, (_, k) => {
    const way = (2 * Math.PI * k) / RING;
    const sin = Math.sin(latitude) * Math.cos(reach) + Math.cos(latitude) * Math.sin(reach) * Math.cos(way);
    const east = Math.atan2(
      Math.sin(way) * Math.sin(reach) * Math.cos(latitude),
      Math.cos(reach) - Math.sin(latitude) * sin,
    );
    return bodyToPlate(pose, { longitudeDeg: longitudeDeg + east / DEG, latitudeDeg: Math.asin(sin) / DEG });
  }).filter(({ visible }) => visible);
}

/** A short line across the limb at the axis' end. */
function tick(disc: Whereabouts['disc'], deg: number, size: number): string {
  const [x, y] = [Math.sin((deg * Math.PI) / 180), -Math.cos((deg * Math.PI) / 180)];
  const at = (r: number): string => `${round(disc.x + r * x)} ${round(disc.y + r * y)}`;
  return `<path d="M${at(disc.semiMajorPx)} L${at(disc.semiMajorPx + 2 * size)}"/>`;
}

function round(value: number): string {
  return String(Math.round(value * 100) / 100);
}

function escaped(text: string): string {
  return text.replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;');
}
