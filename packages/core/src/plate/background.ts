import type { GridBox } from '../compute/grid-box.js';
import { bilinearAt } from '../compute/sample.js';
import { gaugeOf, type LimbGauge } from './limb-ellipse.js';
import { type LimbModel, type SkyLight, skyAt } from './limb-model.js';
import type { LimbSoftness } from './limb-softness.js';
import { alphaAt, EDGE_SIGMAS, edgeBounds } from './matte.js';
import type { PlateSource, PlateWindow } from './plate-source.js';

/** What becomes of the light of the sky. */
export const BACKGROUNDS: readonly Background[] = ['keep', 'subtract', 'cut'];

/**
 * `keep`: the sky as it was recorded. `subtract`: the light of the sky, a plane fitted to it, is taken off everywhere, since
 * it lies over the body, too; the limb is then body alone, already multiplied with the matte. `cut`: the light of the sky
 * taken off in the same way, and nothing outside the disc; alpha is coverage times matte, and the colour along the limb is
 * the body's own.
 */
export type Background = 'keep' | 'subtract' | 'cut';

/** A plate with its background treated; windows are worked out where they are read. */
export function withBackground(source: PlateSource, background: Background, limb: LimbModel | null): PlateSource {
  if (background === 'keep' || limb === null) return source;
  const bare: PlateSource = { ...source, read: (box) => withoutSky(source.read(box), box, limb.sky) };
  return background === 'subtract' ? bare : { ...bare, read: (box) => cutOut(bare, box, limb) };
}

function withoutSky({ image, coverage }: PlateWindow, { x0, y0 }: GridBox, sky: readonly SkyLight[]): PlateWindow {
  const { width, height } = image;
  const planes = image.planes.map((plane, c) => {
    const out = new Float32Array(plane.length);
    const { slopeX } = sky[c]!;
    for (let y = 0, i = 0; y < height; y++) {
      const first = skyAt(sky[c]!, [x0, y0 + y]);
      for (let x = 0; x < width; x++, i++) out[i] = coverage.data[i]! > 0 ? plane[i]! - first - slopeX * x : 0;
    }
    return out;
  });
  return { image: { ...image, planes }, coverage };
}

/**
 * How far inside the half level the body's own colour is taken from, px: beyond the blur, and beyond the valleys that the
 * ellipse does not follow.
 */
export function insetPx({ sigmaPx, roughnessPx }: LimbSoftness): number {
  return 2.5 * sigmaPx + 2.5 * roughnessPx + 1;
}

/** Samples inwards that are averaged for the colour, px. */
const TAPS_PX = [0, 1, 2] as const;

function cutOut(source: PlateSource, box: GridBox, limb: LimbModel): PlateWindow {
  const { ellipse, softness } = limb;
  const inset = insetPx(softness);
  const around = grown(box, Math.ceil(inset + EDGE_SIGMAS * softness.sigmaPx + 6), source);
  const wide = source.read(around);
  const gauge = gaugeOf(ellipse);
  const inner = Math.max(
    0,
    1 - (1.05 * (inset + Math.abs(softness.offsetPx)) + 1) / Math.min(ellipse.aPx, ellipse.bPx),
  );
  const { outer } = edgeBounds(ellipse, softness);
  const planes = wide.image.planes.map(() => new Float32Array(box.width * box.height));
  const coverage = new Float32Array(box.width * box.height);
  for (let y = 0, i = 0; y < box.height; y++) {
    for (let x = 0; x < box.width; x++, i++) {
      const [px, py] = [box.x0 + x, box.y0 + y];
      const from = (py - around.y0) * around.width + px - around.x0;
      const covered = wide.coverage.data[from]!;
      const squared = gauge.squared(px, py);
      if (!(covered > 0) || squared >= outer) continue;
      if (squared <= inner * inner) {
        coverage[i] = covered;
        for (const [c, plane] of wide.image.planes.entries()) planes[c]![i] = plane[from]!;
        continue;
      }
      const { distancePx } = gauge.place(px, py);
      coverage[i] = covered * alphaAt(distancePx, softness);
      if (coverage[i] === 0) continue;
      const colour = colourInside(wide, around, gauge, px, py, softness.offsetPx - inset);
      for (const [c, plane] of wide.image.planes.entries()) planes[c]![i] = colour?.[c] ?? plane[from]!;
    }
  }
  const size = { width: box.width, height: box.height };
  return { image: { ...size, planes }, coverage: { ...size, data: coverage } };
}

/** The body's colour as it is at `depth` px from the edge, on the way inwards. Undefined where that is not covered. */
function colourInside(
  { image, coverage }: PlateWindow,
  around: GridBox,
  gauge: LimbGauge,
  x: number,
  y: number,
  depth: number,
): number[] | undefined {
  const { distancePx, normalX, normalY } = gauge.place(x, y);
  if (distancePx <= depth) return undefined;
  const { width, height } = around;
  const sums = image.planes.map(() => 0);
  for (const tap of TAPS_PX) {
    const away = distancePx - depth + tap;
    const [px, py] = [x - around.x0 - away * normalX, y - around.y0 - away * normalY];
    const at = Math.round(py) * width + Math.round(px);
    if (px < 0 || py < 0 || px > width - 1 || py > height - 1 || !(coverage.data[at]! > 0)) return undefined;
    image.planes.forEach((plane, c) => {
      sums[c]! += bilinearAt(plane, width, height, px, py) / TAPS_PX.length;
    });
  }
  return sums;
}

function grown({ x0, y0, width, height }: GridBox, margin: number, source: PlateSource): GridBox {
  const left = Math.max(0, x0 - margin);
  const top = Math.max(0, y0 - margin);
  return {
    x0: left,
    y0: top,
    width: Math.min(source.width, x0 + width + margin) - left,
    height: Math.min(source.height, y0 + height + margin) - top,
  };
}
