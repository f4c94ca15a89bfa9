import type { LeftOut } from '../job/errors.js';
import type { ClipFacts } from './clip-facts.js';
import type { Encoding } from './reading.js';
import type { CaptureSettings } from './settings-types.js';
import type { FrameTime, TimeOddity } from './time-resolve.js';
import type { StillTime } from './time-still.js';

/** One picture of a pass. */
export interface FrameFile {
  /** Path relative to the capture, with forward slashes; of a picture in a clip, with `#` and its number from 1 behind it. */
  readonly item: string;
  /** Absolute path. */
  readonly path: string;
  readonly sizeBytes: number;
  /** Time of last change, ISO 8601 in UTC. */
  readonly modified: string;
  /** What the file records of its exposure. */
  readonly recorded?: RecordedExposure;
  /** When its exposure began, as far as that is known. */
  readonly time?: FrameTime;
  /** Number of the picture in its clip, from 0. */
  readonly picture?: number;
}

/** What a still records of its exposure. */
export type RecordedExposure = Omit<StillTime, 'notes'>;

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
  readonly encoding: Encoding;
  /** Whether it may hold several views, as one folder of everything and a clip may: it is parted where the view jumps. */
  readonly mixed?: boolean;
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

/** A picture of the whole disc. */
export interface Guide extends FrameFile {
  readonly encoding: Encoding;
}

/** One night's work on one bright body. */
export interface Capture {
  /** Absolute path. */
  readonly root: string;
  readonly name: string;
  /** What `capture.yaml` says; empty where there is none. */
  readonly settings: CaptureSettings;
  readonly passes: readonly Pass[];
  /** A picture of the whole disc, at any scale, that tells where passes belong: the first still of the folder `guide`. */
  readonly guide: Guide | null;
  /** Of each kind one set at most: from the capture, or else from beside it. */
  readonly calibration: readonly CalibrationSet[];
  readonly leftOut: readonly LeftOut<LeftOutReason>[];
  /** What is used all the same, but is worth knowing. */
  readonly notices: readonly Notice[];
}

/** Something that is worth knowing of what is used. */
export interface Notice {
  readonly item: string;
  readonly reason: NoticeReason;
  readonly detail: string;
}

/**
 * What a notice is about: the times of a pass ({@link TimeOddity}), or
 * - `odd-depth`: a still of other bits than most of its pass, such as 8 among 16;
 * - `split-by-time`: one folder of everything was parted where its frames lie far apart in time;
 * - `split-by-view`: it, or a clip, was parted where the camera was pointed anew;
 * - `calibration-exposure`: darks were exposed for another time than the frames of a pass;
 * - `calibration-temperature`: their sensor was warmer or colder by more than 5 degrees;
 * - `no-limb`: no lit limb is to be seen on the plate, so that its background is kept and no matte is written;
 * - `crop-padded`: a crop is larger than the plate, so that it is empty on the sides that are named;
 * - `crop-uncovered`: a crop has transparent parts, since no frame covers them;
 * - `crop-moved`: a crop was asked for that would have reached beyond the plate, and lies elsewhere;
 * - `north-unknown`: north was to be up, but it is not known where the plate lies.
 */
export type NoticeReason =
  | TimeOddity
  | 'odd-depth'
  | 'split-by-time'
  | 'split-by-view'
  | 'calibration-exposure'
  | 'calibration-temperature'
  | 'no-limb'
  | 'crop-padded'
  | 'crop-uncovered'
  | 'crop-moved'
  | 'north-unknown';

/**
 * Why something in a capture is not used:
 * - `hidden`: the name begins with a dot;
 * - `link`: a symbolic link that is not followed, leads nowhere, or leads to what has been looked at;
 * - `ignored`: the settings say so;
 * - `not-listed`: the settings say that only listed passes count;
 * - `not-an-image`: neither a clip nor a still of a kind that is read by signature, and not called so either;
 * - `beside-the-passes`: a still next to folders that hold passes;
 * - `calibration-odd-size`: dark, flat or bias frames of another size than those of a pass;
 * - `second-guide`: a still of the folder `guide` after the first;
 * - `nested-folder`: a folder inside a pass, or too deep;
 * - `no-stills`: a folder without a still or a clip;
 * - `no-usable-frame`: a pass of which no frame is left;
 * - `unreadable`: called or marked as a still or a clip, but its header cannot be read or its samples not truthfully decoded;
 * - `cut-short`: a clip that has lost its end; what is left of it is used;
 * - `too-large`: the header announces more pixels than are read;
 * - `odd-size`: another upright size than most frames of the pass;
 * - `odd-channels`: grey among colour or colour among grey.
 */
export type LeftOutReason =
  | 'hidden'
  | 'link'
  | 'ignored'
  | 'not-listed'
  | 'no-usable-frame'
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
