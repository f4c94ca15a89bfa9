import type { PictureFacts } from './clip-facts.js';
import { type ClipLayout, layoutOf } from './clip-layout.js';
import { clipTransfer } from './clip-transfer.js';
import type { Matrix } from './colour-matrix.js';
import { decoderOf } from './curves.js';
import { codePointToSrgb, primariesCodePoint } from './primaries.js';
import type { DecodedStill } from './read-still.js';
import type { RecordedEncoding } from './reading.js';

/** How the codes of a clip become linear light of the sRGB primaries. */
export interface ClipPlan {
  /** Name of the curve for people. */
  readonly curve: DecodedStill['curve'];
  /** Recorded value, 0 black and 1 nominal white, to linear light. */
  readonly decode: (recorded: number) => number;
  /** Codes of black and white of luma or of red, green and blue. */
  readonly black: number;
  readonly white: number;
  /** Code of no difference, and codes from it to a difference of ½. */
  readonly middle: number;
  readonly half: number;
  /** Shares of red and blue in luma; undefined where pixels are not stored as differences. */
  readonly luma: readonly [red: number, blue: number] | undefined;
  /** Place of the first difference, px from the first luma. */
  readonly site: readonly [x: number, y: number];
  /** Linear RGB to linear sRGB; undefined where it is that. */
  readonly matrix: Matrix | undefined;
  readonly notes: readonly string[];
}

/** Chooses how a clip is read by what is asked for, or else by what it says; where it says nothing, as is usual. A text says why it cannot be read. */
export function planClip(said: PictureFacts, asked: RecordedEncoding): ClipPlan | string {
  const facts = overridden(said, asked);
  const { curve } = asked;
  const layout = layoutOf(facts.pixelFormat)!;
  const notes: string[] = [];
  const usual = layout.kind === 'yuv' ? 1 : 13;
  if (facts.transfer === UNSAID && curve === 'auto') {
    notes.push(`The clip does not say its curve; ${usual === 1 ? 'bt709' : 'srgb'} is taken.`);
  }
  const transfer =
    curve === 'auto'
      ? clipTransfer(facts.transfer === UNSAID || facts.transfer === 0 ? usual : facts.transfer)
      : { name: curve, decode: decoderOf(curve) };
  if (!transfer) return `its transfer function (code point ${facts.transfer} of ITU-T H.273) is not read`;
  const luma = layout.kind === 'yuv' ? LUMA.get(matrixOf(facts)) : undefined;
  if (layout.kind === 'yuv' && !luma) return `its matrix (code point ${facts.matrix} of ITU-T H.273) is not read`;
  const toSrgb = codePointToSrgb(facts.primaries);
  if (!toSrgb && facts.primaries > UNSAID)
    notes.push(`Its primaries (code point ${facts.primaries}) are taken for BT.709's.`);
  if (facts.pixelAspect !== 1)
    notes.push(`Its pixels are announced as ${facts.pixelAspect} times as wide as high; they are read as square.`);
  const full = layout.fullRange || (facts.range === 0 ? layout.kind !== 'yuv' : facts.range === 2);
  const unit = 2 ** (layout.bits - 8);
  const most = 2 ** layout.bits - 1;
  return {
    curve: transfer.name,
    decode: transfer.decode,
    black: full ? 0 : 16 * unit,
    white: full ? most : 235 * unit,
    middle: 128 * unit,
    half: full ? most / 2 : 112 * unit,
    luma,
    site: siteOf(facts, layout),
    matrix: toSrgb,
    notes,
  };
}

const UNSAID = 2;

/** What a clip says, with what is asked for in its place. */
function overridden(facts: PictureFacts, { range, matrix, primaries }: RecordedEncoding): PictureFacts {
  return {
    ...facts,
    range: range === 'auto' ? facts.range : range === 'full' ? 2 : 1,
    matrix: matrix === 'auto' ? facts.matrix : MATRICES[matrix],
    primaries: primaries === 'auto' ? facts.primaries : primariesCodePoint(primaries),
  };
}

const MATRICES = { bt601: 6, bt709: 1, bt2020: 9, rgb: 0 } as const;

/** Differences stand on the first of their lumas across and between them down, unless the clip says otherwise: H.273, 8.7. */
function siteOf({ chromaSite }: PictureFacts, { chromaAcross, chromaDown }: ClipLayout): [number, number] {
  const [x, y] = [(chromaAcross - 1) / 2, (chromaDown - 1) / 2];
  if (chromaSite === CENTRE) return [x, y];
  return [0, chromaSite === TOP_LEFT ? 0 : y];
}

const CENTRE = 2;
const TOP_LEFT = 3;

function matrixOf({ matrix, heightPx }: PictureFacts): number {
  if (matrix !== UNSAID) return matrix;
  return heightPx > 576 ? 1 : 6;
}

/** Shares of red and blue in luma, by code point: ITU-T H.273, table 4. */
const LUMA: ReadonlyMap<number, readonly [number, number]> = new Map([
  [1, [0.2126, 0.0722]],
  [4, [0.3, 0.11]],
  [5, [0.299, 0.114]],
  [6, [0.299, 0.114]],
  [7, [0.212, 0.087]],
  [9, [0.2627, 0.0593]],
]);
