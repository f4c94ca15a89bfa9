/** A frame's weight rises from its edge over this share of its shorter side, so that no frame's edge shows. */
export const FEATHER_SHARE = 0.15;

/** Weight at so many px within the edge, 0 to 1: a smooth step over `featherPx`. */
export function featherWeight(insidePx: number, featherPx: number): number {
  if (!(insidePx > 0)) return 0;
  const rise = insidePx >= featherPx ? 1 : insidePx / featherPx;
  return rise * rise * (3 - 2 * rise);
}
