import type { ClipFacts } from './clip-facts.js';

/** FFmpeg's names of code points of ITU-T H.273. */
const PRIMARIES: Readonly<Record<string, number>> = {
  bt709: 1,
  bt470m: 4,
  bt470bg: 5,
  smpte170m: 6,
  smpte240m: 7,
  film: 8,
  bt2020: 9,
  smpte428: 10,
  smpte431: 11,
  smpte432: 12,
  ebu3213: 22,
};
const TRANSFERS: Readonly<Record<string, number>> = {
  bt709: 1,
  bt470m: 4,
  bt470bg: 5,
  smpte170m: 6,
  smpte240m: 7,
  linear: 8,
  log100: 9,
  log316: 10,
  'iec61966-2-4': 11,
  bt1361e: 12,
  'iec61966-2-1': 13,
  'bt2020-10': 14,
  'bt2020-12': 15,
  smpte2084: 16,
  smpte428: 17,
  'arib-std-b67': 18,
};
const MATRICES: Readonly<Record<string, number>> = {
  gbr: 0,
  bt709: 1,
  fcc: 4,
  bt470bg: 5,
  smpte170m: 6,
  smpte240m: 7,
  ycgco: 8,
  bt2020nc: 9,
  bt2020c: 10,
};
const NOT_SAID = 2;
const RANGES: Readonly<Record<string, number>> = { tv: 1, pc: 2 };
const SITES: Readonly<Record<string, number>> = { left: 1, center: 2, topleft: 3, top: 4, bottomleft: 5, bottom: 6 };

/** What `ffprobe` says of colour, in words. */
export interface NamedColour {
  readonly color_primaries?: string;
  readonly color_transfer?: string;
  readonly color_space?: string;
  readonly color_range?: string;
  readonly chroma_location?: string;
}

/** The same as code points, as the libraries give them. */
export function codePointsOf(
  said: NamedColour,
): Pick<ClipFacts, 'primaries' | 'transfer' | 'matrix' | 'range' | 'chromaSite'> {
  const of = (names: Readonly<Record<string, number>>, name: string | undefined, otherwise: number): number =>
    names[name ?? ''] ?? otherwise;
  return {
    primaries: of(PRIMARIES, said.color_primaries, NOT_SAID),
    transfer: of(TRANSFERS, said.color_transfer, NOT_SAID),
    matrix: of(MATRICES, said.color_space, NOT_SAID),
    range: of(RANGES, said.color_range, 0),
    chromaSite: of(SITES, said.chroma_location, 0),
  };
}
