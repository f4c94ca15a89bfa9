import { reliefNearTerminator, type StitchResult } from '@plenilune/core';

/** Where a plate lies, in a few lines. */
export function whereLines(where: StitchResult['where']): string[] {
  if (!where.known) return [`Where it lies is not known: ${where.detail}.`];
  const { body, axisDeg, axisSigmaDeg, kmPerPx, arcsecPerPx, colongitudeDeg, subObserver, features } = where;
  const scale = `${kmPerPx.toFixed(3)} km a px${arcsecPerPx === null ? '' : ` (${arcsecPerPx.toFixed(3)}")`}`;
  const lines = [
    `${body === 'Moon' ? 'Lunar' : 'Solar'} north lies ${signed(axisDeg, 2)}° from up (± ${axisSigmaDeg.toFixed(2)}°), ${scale}, told by ${SOURCES[where.from]}.`,
  ];
  if (body === 'Moon') {
    const light = colongitudeDeg === null ? '' : `, colongitude ${colongitudeDeg.toFixed(1)}°`;
    lines.push(
      `Libration ${signed(subObserver.longitudeDeg, 1)}° in longitude, ${signed(subObserver.latitudeDeg, 1)}° in latitude${light}.`,
    );
  }
  const near = reliefNearTerminator(features.filter(({ covered }) => covered)).slice(0, 4);
  if (near.length > 0) lines.push(`Near the terminator: ${near.map((f) => f.name).join(', ')}.`);
  return [...lines, ...where.notes.map((note) => `Note: ${note}.`)];
}

const SOURCES = {
  sky: 'the sky',
  map: 'the map',
  'sky-and-map': 'the sky and the map',
} as const;

function signed(value: number, digits: number): string {
  const figure = Math.abs(value).toFixed(digits);
  return `${value < 0 && Number(figure) > 0 ? '-' : '+'}${figure}`;
}
