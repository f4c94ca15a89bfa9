import type { PlateFeature, Whereabouts } from './whereabouts.js';

/** Features are drawn from this share of the disc's radius up, so that names stay readable; never below 15 km. */
const LEAST_SHARE = 0.035;
/** Regions are named without an outline: the table has only a box around them. */
const REGIONS = new Set(['mare', 'oceanus', 'lacus', 'sinus', 'palus', 'mons', 'montes', 'vallis', 'rupes', 'swirl']);

/**
 * An SVG drawing in the plate's own pixels to lay over it: the limb, the axis' ends and the named features that are lit and
 * covered. Names that would run into one drawn before are left out, larger features first.
 */
export function featureOverlay(where: Whereabouts, widthPx: number, heightPx: number): string {
  const { disc, axisDeg } = where;
  const size = Math.max(8, disc.semiMajorPx / 50);
  const line = size / 12;
  const kmPerPx = where.kmPerPx;
  const shown = notableFeatures(where);
  const taken: Box[] = [];
  const marks = shown.flatMap((feature) => markOf(feature, size, kmPerPx, taken, widthPx));
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
  { name, kind, x, y, diameterKm }: PlateFeature,
  size: number,
  kmPerPx: number,
  taken: Box[],
  widthPx: number,
): { readonly outline: string; readonly label: string }[] {
  const region = REGIONS.has(kind);
  const radius = region ? 0 : diameterKm / kmPerPx / 2;
  const width = 0.58 * size * name.length;
  const left = region ? x - width / 2 : x + radius + size / 3;
  const box = { x: left, y: y - 0.6 * size, width, height: 1.2 * size };
  const clash = taken.some(
    (b) => box.x < b.x + b.width && b.x < box.x + box.width && box.y < b.y + b.height && b.y < box.y + box.height,
  );
  if (clash || box.x < 0 || box.x + width > widthPx) return [];
  taken.push(box);
  const outline = region ? '' : `<circle cx="${round(x)}" cy="${round(y)}" r="${round(radius)}"/>`;
  return [{ outline, label: `<text x="${round(left)}" y="${round(y + 0.35 * size)}">${escaped(name)}</text>` }];
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
