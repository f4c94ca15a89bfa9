import { type Capture, filesOf } from '../capture/pass.js';
import { type Affine, compose } from '../compute/affine.js';
import { quantile } from '../compute/quantile.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { guideIn } from '../placement/guide-in.js';
import { placeStage } from '../placement/place-stage.js';
import { gradePasses } from '../registration/grade-passes.js';
import { createSharedField } from '../registration/seeing-measure.js';
import type { SeenPass } from '../registration/seeing-stage.js';
import { type TrackedPass, trackStage } from '../registration/track-stage.js';
import { chooseFrames } from './choose-frames.js';
import { type CoveringFrame, mapCover } from './cover-map.js';
import { type CoverageGrid, gridOf } from './coverage-grid.js';
import { darkFrames } from './dark-frames.js';
import { findDisc } from './find-disc.js';
import { type Finding, findingsOf, passSharpness } from './findings.js';
import { findMissing } from './missing.js';

/** What a look at a part of a capture's frames shows. */
export interface Look {
  /** What of the disc is covered; null where no limb tells where the disc is. */
  readonly coverage: CoverageGrid | null;
  readonly findings: readonly Finding[];
  /** Frames that were looked at, and that can be used, by pass. */
  readonly passes: readonly {
    readonly name: string;
    readonly looked: number;
    readonly usable: number;
    readonly sharpness: number | null;
  }[];
  readonly leftOut: readonly LeftOut[];
}

/** Longer side of the pictures that are looked at, px, at least: enough to recognise ground. */
const SIDE_PX = 640;
/** A frame is sharp from this share of its pass's better frames on. */
const SHARP_SHARE = 0.7;

/**
 * Looks at a part of a capture's frames, small: tracks them, places the passes by their overlaps, and says what ground is
 * covered by how many sharp frames and what is wrong. Throws `InputError` `PASS_UNUSABLE` when no frame can be used.
 */
export async function lookAt(context: JobContext, whole: Capture): Promise<Look> {
  const capture = chooseFrames(whole);
  const names = namesOf(capture);
  const { graded, leftOut } = await gradePasses(context, capture, names, binFactorOf(capture));
  const tracked = await trackStage(context, graded);
  const seen = tracked.map(asSeen);
  const placement = await placeStage(context, seen, guideIn(capture, names));
  const sharpness = tracked.map(({ frames }) => passSharpness(frames));
  const all = tracked.map((one, i) => covering(one, placement.poses[i] ?? null, sharpness[i]!));
  const map = mapCover(all.flat());
  // What is placed by its limb alone lies a few px off, which would blur the limb of all together.
  const firm = mapCover(all.filter((_, i) => placement.groups[0]!.includes(i)).flat());
  const disc = findDisc(firm) ?? findDisc(map);
  const passes = tracked.map((one, i) => ({
    tracked: one,
    sharpness: sharpness[i]!,
    dark: darkFrames(one, placement.poses[i] ?? null, map),
  }));
  return {
    coverage: disc && gridOf(map, disc),
    findings: findingsOf(passes, placement, findMissing(map, disc, reachOf(tracked))),
    passes: tracked.map(({ graded: { pass }, frames }, i) => ({
      name: pass.name,
      looked: pass.frames.length,
      usable: frames.length,
      sharpness: sharpness[i]!,
    })),
    leftOut: [...leftOut, ...tracked.flatMap((one) => [...one.graded.leftOut, ...one.leftOut])],
  };
}

/** How far beyond an edge the middle of frames may lie that overlap with it by 15 %, proxy px. */
function reachOf(tracked: readonly TrackedPass[]): number {
  const sides = tracked.flatMap(({ frames }) => frames.map(({ proxy }) => Math.min(proxy.width, proxy.height)));
  return 0.35 * Math.min(...sides);
}

/** What files hold is not read for a name only: size and time of change tell them apart for one run. */
function namesOf(capture: Capture): Map<string, string> {
  return new Map(filesOf(capture).map((file) => [file.item, `${file.item} ${file.sizeBytes} ${file.modified}`]));
}

function binFactorOf({ passes }: Capture): number {
  return Math.max(1, Math.floor(Math.max(...passes.map((pass) => Math.max(pass.widthPx, pass.heightPx))) / SIDE_PX));
}

/** The air's bends do not matter here. */
function asSeen({ details: _, ...tracked }: TrackedPass): SeenPass {
  const { width, height } = tracked.graded.frames[0]!.proxy;
  const field = createSharedField(width, height);
  return { ...tracked, frames: tracked.frames.map((frame) => ({ ...frame, field })), bendPx: 0 };
}

function covering({ frames, graded }: TrackedPass, place: Affine | null, sharpness: number | null): CoveringFrame[] {
  if (!place) return [];
  const ranges = graded.frames.map(({ grade }) => grade.brightLevel - grade.skyLevel);
  const range = quantile(ranges, 0.9);
  return frames.map(({ proxy, pose, grade }) => ({
    proxy,
    pose: compose(place, pose),
    skyLevel: grade.skyLevel,
    range,
    // Of a narrow piece of a crescent nothing can be told: that is no reason to call it soft.
    sharp: (grade.fineSharpness ?? Number.POSITIVE_INFINITY) >= SHARP_SHARE * (sharpness ?? 0),
  }));
}
