import type { LeftOut } from '../job/errors.js';
import type { ClipFacts } from './clip-facts.js';

/** One picture of a pass. */
export interface FrameFile {
  /** Path relative to the capture, with forward slashes; of a picture in a clip, with `#` and its number from 1 behind it. */
  readonly item: string;
  /** Absolute path. */
  readonly path: string;
  readonly sizeBytes: number;
  /** Time of last change, ISO 8601 in UTC. */
  readonly modified: string;
}

/** One locked-off recording. */
export type Pass = StillsPass | ClipPass;

/** A folder of stills, in the natural order of their names. */
export interface StillsPass extends PassFacts {
  readonly kind: 'stills';
}

/** A clip, whose pictures come in the order of their times. */
export interface ClipPass extends PassFacts {
  readonly kind: 'clip';
  readonly clip: ClipFacts;
}

/** What every kind of recording has. */
interface PassFacts {
  /** The folder's or the clip's path relative to the capture; of stills that lie in the capture itself, its name. */
  readonly name: string;
  readonly frames: readonly FrameFile[];
  /** Upright size that all frames share (space 2). */
  readonly widthPx: number;
  readonly heightPx: number;
  /** 1 for grey, 3 for RGB. */
  readonly channels: 1 | 3;
}

/** Whether frames of two passes have the same size and channels. */
export function sameShape(a: Pass, b: Pass): boolean {
  return a.widthPx === b.widthPx && a.heightPx === b.heightPx && a.channels === b.channels;
}

/** Kinds of frames that tell about the sensor rather than the sky. */
export type CalibrationKind = 'dark' | 'flat' | 'bias';

/** Calibration frames of one kind. */
export interface CalibrationSet {
  readonly kind: CalibrationKind;
  /** Its frames. */
  readonly pass: Pass;
}

/** One night's work on one bright body. */
export interface Capture {
  /** Absolute path. */
  readonly root: string;
  readonly name: string;
  readonly passes: readonly Pass[];
  /** A picture of the whole disc, at any scale, that tells where passes belong: the first still of the folder `guide`. */
  readonly guide: FrameFile | null;
  /** Of each kind one set at most: from the capture, or else from beside it. */
  readonly calibration: readonly CalibrationSet[];
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
}

/**
 * Why something in a capture is not used:
 * - `hidden`: the name begins with a dot;
 * - `link`: a symbolic link, which is not followed;
 * - `not-an-image`: neither a clip, PNG, JPEG nor TIFF by signature, and not called so either;
 * - `beside-the-passes`: a still next to folders that hold passes;
 * - `calibration-odd-size`: dark, flat or bias frames of another size than those of a pass;
 * - `second-guide`: a still of the folder `guide` after the first;
 * - `nested-folder`: a folder inside a pass;
 * - `no-stills`: a folder without a still or a clip;
 * - `unreadable`: called or marked as a still or a clip, but its header cannot be read or its samples not truthfully decoded;
 * - `cut-short`: a clip that has lost its end; what is left of it is used;
 * - `too-large`: the header announces more pixels than are read;
 * - `odd-size`: another upright size than most frames of the pass;
 * - `odd-channels`: grey among colour or colour among grey.
 */
export type LeftOutReason =
  | 'hidden'
  | 'link'
  | 'not-an-image'
  | 'beside-the-passes'
  | 'calibration-odd-size'
  | 'second-guide'
  | 'nested-folder'
  | 'no-stills'
  | 'unreadable'
  | 'cut-short'
  | 'too-large'
  | 'odd-size'
  | 'odd-channels';

/** Every file of a capture whose pixels or place tell something: the frames of all passes, the guide, and calibration. */
export function filesOf({ passes, guide, calibration }: Capture): FrameFile[] {
  const all = [...passes, ...calibration.map((set) => set.pass)];
  return [...all.flatMap((pass) => pass.frames), ...(guide ? [guide] : [])];
}
