import type { PlateFeature, Whereabouts } from '../plate/whereabouts.js';
import { STANDS_OUT_KM } from '../sky/near-terminator.js';
import type { BodyPoint } from '../sky/types.js';
import { type Html, html, type Part } from './html.js';
import { decimals, percent } from './numbers.js';
import type { ReportInput } from './report-types.js';
import { facts, numbers, section, table } from './table.js';

/** Where the plate lies on its body, and what the terminator stands at. */
export function whereSection({ sidecar: { where } }: ReportInput): Html {
  if (!where.known) return section('where', 'Where it lies', html`<p>Not known: ${where.detail}.</p>`);
  const rows: (readonly [string, Part])[] = [
    ['Told by', TOLD_BY[where.from]],
    ['Moment', where.utc ?? 'not known'],
    [
      'Disc',
      `centre ${decimals(where.disc.x, 1)}, ${decimals(where.disc.y, 1)} px; radius ${decimals(where.disc.semiMajorPx, 1)} px`,
    ],
    ["Body's north", `${decimals(where.axisDeg, 2)}° clockwise from up, ± ${decimals(where.axisSigmaDeg, 2)}°`],
    ['Celestial north', where.northDeg === null ? 'not known' : `${decimals(where.northDeg, 2)}° clockwise from up`],
    ['Scale', scaleOf(where)],
    ['Under the observer', placeOf(where.subObserver)],
    ['Under the Sun', where.subSolar ? placeOf(where.subSolar) : 'not known'],
    ...(where.colongitudeDeg === null ? [] : [['Colongitude', `${decimals(where.colongitudeDeg, 1)}°`] as const]),
    ...(where.illuminatedFraction === null
      ? []
      : [['Lit share of the disc', percent(where.illuminatedFraction)] as const]),
    ...(where.map
      ? [['Map', `${where.map.patches} patches agree to ${decimals(where.map.rmsPx, 2)} px per axis`] as const]
      : []),
    ...where.notes.map((note) => ['Note', note] as const),
  ];
  const nearest = nearestOf(where).map((f) => [
    f.name,
    f.kind,
    f.lit ? 'lit' : 'dark',
    decimals(f.terminatorKm, 0),
    decimals(f.diameterKm, 0),
  ]);
  const columns = ['Feature', 'Kind', 'Light', numbers('To the terminator, km'), numbers('Across, km')];
  return section(
    'where',
    'Where it lies',
    facts(rows),
    nearest.length > 0 ? table('Nearest to the terminator, lit and dark', columns, nearest) : html``,
  );
}

/** Features that are told of. */
const NEAREST = 12;

/** By their distance alone, on either side of the terminator; none where the Sun's place is not known. */
function nearestOf({ features, subSolar }: Whereabouts): PlateFeature[] {
  if (subSolar === null) return [];
  const named = features.filter(({ covered, kind }) => covered && kind !== 'satellite');
  return named.filter(({ diameterKm }) => diameterKm >= STANDS_OUT_KM).slice(0, NEAREST);
}

const TOLD_BY = {
  sky: 'the way of the drift and the ephemeris',
  map: 'a map',
  'sky-and-map': 'the sky, made exact by a map',
} as const;

function scaleOf({ kmPerPx, arcsecPerPx }: Whereabouts): string {
  const onSky = arcsecPerPx === null ? '' : `, ${decimals(arcsecPerPx, 3)}″ a px`;
  return `${decimals(kmPerPx, 3)} km a px in the middle of the disc${onSky}`;
}

function placeOf({ longitudeDeg, latitudeDeg }: BodyPoint): string {
  const [east, north] = [longitudeDeg < 0 ? 'west' : 'east', latitudeDeg < 0 ? 'south' : 'north'];
  return `${decimals(Math.abs(longitudeDeg), 2)}° ${east}, ${decimals(Math.abs(latitudeDeg), 2)}° ${north}`;
}
