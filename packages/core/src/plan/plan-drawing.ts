import { DEG } from '../sky/angles.js';
import { throughAir } from '../sky/through-air.js';
import type { SkyPoint } from '../sky/types.js';
import type { PlannedPass, ShotList } from './plan-types.js';

/** A point of the drawing before it is scaled: arcseconds, x right and y down in the frame of the first pass. */
type Point = readonly [number, number];

const WIDTH = 720;
const MOST_HEIGHT = 560;
const EDGE = 24;
const DIALS = 116;
/** Points of half an ellipse. */
const STEPS = 48;
/** Numbers are written beside so many frames at most. */
const MOST_LABELS = 12;

/**
 * An SVG drawing of a shot list as the camera shows it in the first pass: the disc as the air flattens it, with its
 * terminator, the frame of every pass when the disc's centre is at its middle, and which way drift, north and zenith are.
 */
export function planDrawing({ camera, air, disc, passes }: ShotList): string {
  const p = passes[0]!.aim.frameAngleDeg * DEG;
  const inFrame = ({ xArcsec: west, yArcsec: north }: SkyPoint): Point => [
    west * Math.cos(p) + north * Math.sin(p),
    west * Math.sin(p) - north * Math.cos(p),
  ];
  const seen = (place: SkyPoint): Point => inFrame(throughAir(disc, air, place));
  const r = disc.radiusArcsec;
  const limb = arc(0, 2 * STEPS).map(([x, y]) => seen({ xArcsec: r * x, yArcsec: r * y }));
  const lit = litPart(disc.phaseAngleDeg, disc.brightLimbPositionAngleDeg).map(([x, y]) =>
    seen({ xArcsec: r * x, yArcsec: r * y }),
  );
  const half: Point = [(camera.widthPx * camera.scaleArcsecPerPx) / 2, (camera.heightPx * camera.scaleArcsecPerPx) / 2];
  const frames = passes.map(({ aim }) => cornersOf(aim, half).map(inFrame));
  const all = [...limb, ...frames.flat()];
  const [left, right] = [Math.min(...all.map(([x]) => x)), Math.max(...all.map(([x]) => x))];
  const [top, bottom] = [Math.min(...all.map(([, y]) => y)), Math.max(...all.map(([, y]) => y))];
  const scale = Math.min((WIDTH - 2 * EDGE) / (right - left), (MOST_HEIGHT - 2 * EDGE) / (bottom - top));
  const height = Math.ceil((bottom - top) * scale + 2 * EDGE);
  const offset = (WIDTH - (right - left) * scale) / 2;
  const place = ([x, y]: Point): Point => [offset + (x - left) * scale, EDGE + (y - top) * scale];
  const polygon = (points: readonly Point[], look: string): string =>
    `<polygon points="${points.map((point) => place(point).map(short).join(',')).join(' ')}" ${look}/>`;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${WIDTH} ${height + DIALS}" role="img" font-family="sans-serif">`,
    '<title>The disc and the frames of the passes, as the camera shows them</title>',
    // Daylight paper behind it whatever the page looks like: the disc and the frames keep their contrast.
    `<rect width="${WIDTH}" height="${height + DIALS}" rx="6" fill="#fff"/>`,
    polygon(limb, 'fill="#b4b4b4" stroke="#444" stroke-width="1.5"'),
    polygon(lit, 'fill="#fff4c8"'),
    ...frames.map((corners, k) => polygon(corners, frameLook(k))),
    ...featureMark(disc.feature, inFrame, place),
    ...labelsOf(passes, frames, place),
    ...dialsOf(passes[0]!, disc.parallacticAngleDeg * DEG, p, height),
    '</svg>',
  ].join('\n');
}

/** Unit circle from a position angle on, half of it in `STEPS` steps: x to the west, y to the north. */
function arc(from: number, steps: number): Point[] {
  return Array.from({ length: steps + 1 }, (_, k) => {
    const angle = from + (Math.PI * k) / STEPS;
    return [-Math.sin(angle), Math.cos(angle)];
  });
}

/** Outline of the lit part of a unit disc: the bright half of the limb, and back along the terminator. */
function litPart(phaseAngleDeg: number | null, brightLimbDeg: number | null): Point[] {
  if (phaseAngleDeg === null || brightLimbDeg === null) return arc(0, 2 * STEPS);
  const bright = brightLimbDeg * DEG;
  const [ux, uy]: Point = [-Math.sin(bright), Math.cos(bright)];
  const bulge = -Math.cos(phaseAngleDeg * DEG);
  const limb = arc(bright - Math.PI / 2, STEPS);
  const terminator = [...limb].reverse().map(([x, y]): Point => {
    // Towards the bright limb the half circle is squeezed to the ellipse of the terminator.
    const towards = x * ux + y * uy;
    return [x + (bulge - 1) * towards * ux, y + (bulge - 1) * towards * uy];
  });
  return [...limb, ...terminator];
}

function cornersOf({ westArcsec, northArcsec, frameAngleDeg }: PlannedPass['aim'], [x, y]: Point): SkyPoint[] {
  const [cos, sin] = [Math.cos(frameAngleDeg * DEG), Math.sin(frameAngleDeg * DEG)];
  const signs: Point[] = [
    [-1, 1],
    [1, 1],
    [1, -1],
    [-1, -1],
  ];
  return signs.map(([right, up]) => ({
    xArcsec: westArcsec + right * x * cos - up * y * sin,
    yArcsec: northArcsec + right * x * sin + up * y * cos,
  }));
}

const COLOURS = ['#c0392b', '#1f6fb2', '#2e8b57'];

function frameLook(k: number): string {
  const colour = COLOURS[k % COLOURS.length]!;
  return `fill="${colour}" fill-opacity="0.06" stroke="${colour}" stroke-width="2.5"${k % 2 === 1 ? ' stroke-dasharray="8 4"' : ''}`;
}

/** Numbers inside the frames, staggered so that those of neighbours stand clear of each other. */
function labelsOf(
  passes: readonly PlannedPass[],
  frames: readonly (readonly Point[])[],
  place: (point: Point) => Point,
): string[] {
  const every = Math.ceil(passes.length / MOST_LABELS);
  return passes.flatMap(({ number }, k) => {
    if (k % every !== 0 && k !== passes.length - 1) return [];
    const corners = frames[k]!;
    const middle = place([mean(corners, 0), mean(corners, 1)]);
    const edge = place([mean([corners[0]!, corners[3]!], 0), mean([corners[0]!, corners[3]!], 1)]);
    const room = Math.hypot(middle[0] - edge[0], middle[1] - edge[1]);
    const share = Math.min(1, (18 + 30 * (k % 3)) / room);
    const at = [edge[0] + (middle[0] - edge[0]) * share, edge[1] + (middle[1] - edge[1]) * share] as const;
    const look = `font-size="22" font-weight="bold" fill="${COLOURS[k % COLOURS.length]}" text-anchor="middle"`;
    const halo = 'stroke="#fff" stroke-width="4" paint-order="stroke"';
    return [`<text x="${short(at[0])}" y="${short(at[1] + 6)}" ${look} ${halo}>${number}</text>`];
  });
}

function featureMark(
  feature: ShotList['disc']['feature'],
  inFrame: (point: SkyPoint) => Point,
  place: (point: Point) => Point,
): string[] {
  if (!feature) return [];
  const [x, y] = place(inFrame({ xArcsec: feature.westArcsec, yArcsec: feature.northArcsec }));
  const halo = 'stroke="#fff" stroke-width="3" paint-order="stroke"';
  return [
    `<circle cx="${short(x)}" cy="${short(y)}" r="5" fill="none" stroke="#b34700" stroke-width="2"/>`,
    `<text x="${short(x + 8)}" y="${short(y + 5)}" font-size="18" fill="#b34700" ${halo}>${escapeXml(feature.name)}</text>`,
  ];
}

/** Three dials under the drawing: the drift, north and the zenith; q and p in radians. */
function dialsOf({ xPxPerS, yPxPerS }: PlannedPass, q: number, p: number, top: number): string[] {
  const size = Math.hypot(xPxPerS, yPxPerS);
  const dials: [string, number, number][] = [
    ['drift of the disc', xPxPerS / size, yPxPerS / size],
    ['north', Math.sin(p), -Math.cos(p)],
    ['zenith', Math.sin(p - q), -Math.cos(p - q)],
  ];
  return dials.flatMap(([name, x, y], k) => {
    const [cx, cy] = [(WIDTH * (k + 0.5)) / 3, top + 44];
    const [tipX, tipY] = [cx + 38 * x, cy + 38 * y];
    const head = [
      [tipX, tipY],
      [tipX - 12 * x - 6 * y, tipY - 12 * y + 6 * x],
      [tipX - 12 * x + 6 * y, tipY - 12 * y - 6 * x],
    ];
    return [
      `<circle cx="${short(cx)}" cy="${short(cy)}" r="40" fill="none" stroke="#bbb"/>`,
      `<line x1="${short(cx - 34 * x)}" y1="${short(cy - 34 * y)}" x2="${short(tipX - 8 * x)}" y2="${short(tipY - 8 * y)}" stroke="#222" stroke-width="3"/>`,
      `<polygon points="${head.map((point) => point.map(short).join(',')).join(' ')}" fill="#222"/>`,
      `<text x="${short(cx)}" y="${short(cy + 64)}" font-size="18" text-anchor="middle" fill="#222">${name}</text>`,
    ];
  });
}

function mean(points: readonly Point[], axis: 0 | 1): number {
  return points.reduce((sum, point) => sum + point[axis], 0) / points.length;
}

function short(value: number): string {
  return String(Math.round(value * 10) / 10);
}

/** A text as it may stand in XML and HTML. */
export function escapeXml(text: string): string {
  return text.replace(/[&<>"']/g, (sign) => `&#${sign.charCodeAt(0)};`);
}
