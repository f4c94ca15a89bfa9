import { quantile } from '../compute/quantile.js';
import type { PlacedPasses } from '../placement/place-stage.js';
import type { GradedFrame } from '../quality/grade-stage.js';
import type { TrackedPass } from '../registration/track-stage.js';
import type { MissingPart, Offset } from './missing.js';

/**
 * What is wrong with a capture:
 * - `missing`: lit ground that no frame shows;
 * - `not-placed`: a pass that neither an overlap nor a guide joins to the others;
 * - `clipped`: lit ground has reached the sensor's clipping point;
 * - `soft`: a pass is much less sharp than the sharpest one;
 * - `clouded`: frames got much less light than others of their pass from the same ground;
 * - `bumped`: frames lie far off the smooth path of their pass;
 * - `lost`: a good part of a pass's frames cannot be used.
 */
export type FindingKind = 'missing' | 'not-placed' | 'clipped' | 'soft' | 'clouded' | 'bumped' | 'lost';

/** Something that is wrong with a capture, and what to do about it, in plain words. */
export interface Finding {
  readonly kind: FindingKind;
  /** Name of the pass that it is about; null when it is about the capture as a whole. */
  readonly pass: string | null;
  readonly detail: string;
  readonly advice: string;
}

/** Share of lit pixels that may be clipped: peaks of rays. */
const MOST_CLIPPED = 0.01;
/** A pass is soft below this share of the sharpest one's sharpness. */
const LEAST_SHARP = 0.6;
/** Share of the frames looked at that may be lost without a word. */
const MOST_LOST = 0.35;

/** A frame that lies this far off the path, proxy px, and so many times farther than usual, was bumped, in a short pass too. */
const FAR_PX = 6;
const FAR_TIMES = 10;

/** A pass with what was found of its frames. */
export interface LookedAtPass {
  readonly tracked: TrackedPass;
  /** See {@link passSharpness}. */
  readonly sharpness: number | null;
  /** See {@link darkFrames}. */
  readonly dark: ReadonlySet<string>;
}

/** All findings of a capture, what has to be shot again first. */
export function findingsOf(
  passes: readonly LookedAtPass[],
  placement: Pick<PlacedPasses, 'placedBy' | 'groups'>,
  missing: readonly MissingPart[],
): Finding[] {
  const best = Math.max(...passes.map(({ sharpness }) => sharpness ?? 0));
  return [
    ...missing.map(missingPart),
    ...passes.flatMap(({ tracked }, i) => notPlaced(nameOf(tracked), placement, i)),
    ...passes.flatMap(({ tracked }) => clipped(tracked)),
    ...passes.flatMap((pass) => soft(pass, best)),
    ...passes.flatMap(spoiled),
  ];
}

/** Whether the capture has to be shot again in part: what is missing, apart, clipped or soft no other frame makes good. */
export function needsMore(findings: readonly Finding[]): boolean {
  return findings.some(({ kind }) => kind !== 'clouded' && kind !== 'bumped' && kind !== 'lost');
}

/** Sharpness of the better half of a pass's frames; null where none shows enough detail. */
export function passSharpness(frames: readonly Pick<GradedFrame, 'grade'>[]): number | null {
  const known = frames.flatMap(({ grade }) => grade.fineSharpness ?? []);
  return known.length === 0 ? null : quantile(known, 0.75);
}

function nameOf({ graded }: TrackedPass): string {
  return graded.pass.name;
}

function missingPart({ share, where, aim }: MissingPart): Finding {
  const how =
    share === null
      ? 'Lit ground'
      : `About ${share < 0.095 ? (100 * share).toFixed(1) : Math.round(100 * share)} % of the disc`;
  return {
    kind: 'missing',
    pass: null,
    detail: `${how} is missing ${where}: no frame shows it.`,
    advice: `Shoot one more pass with the frame's middle ${placeText(aim)}, as the frames show it.`,
  };
}

/** "0.3 to the right and 0.2 above the middle of the disc, in radii of it". */
function placeText({ right, down }: Offset): string {
  const across = Math.abs(right).toFixed(1);
  const along = Math.abs(down).toFixed(1);
  const aside = across === '0.0' ? [] : [`${across} to the ${right > 0 ? 'right' : 'left'}`];
  const beyond = along === '0.0' ? [] : [`${along} ${down > 0 ? 'below' : 'above'}`];
  const ways = [...aside, ...beyond].join(' and ');
  if (ways === '') return 'on the middle of the disc';
  return `${ways} ${beyond.length === 0 ? 'of ' : ''}the middle of the disc, in radii of it`;
}

function notPlaced(
  name: string,
  { placedBy, groups }: Pick<PlacedPasses, 'placedBy' | 'groups'>,
  i: number,
): Finding[] {
  const isApart = !groups[0]!.includes(i) && placedBy[i] !== 'guide';
  if (!isApart) return [];
  return [
    {
      kind: 'not-placed',
      pass: name,
      detail: `The pass "${name}" shows no ground in common with the others that could be recognised.`,
      advice: 'Shoot a pass between them that overlaps with both by 15 % of the frame, where there is detail.',
    },
  ];
}

function clipped(tracked: TrackedPass): Finding[] {
  const { frames } = tracked.graded;
  const lit = frames.reduce((sum, { grade }) => sum + grade.litShare, 0);
  const share = frames.reduce((sum, { grade }) => sum + grade.clipped, 0) / Math.max(lit, 1e-9);
  if (share <= MOST_CLIPPED) return [];
  return [
    {
      kind: 'clipped',
      pass: nameOf(tracked),
      detail: `In the pass "${nameOf(tracked)}" ${Math.round(100 * share)} % of the lit ground is clipped.`,
      advice: 'Shoot it again with half the exposure.',
    },
  ];
}

function soft({ tracked, sharpness }: LookedAtPass, best: number): Finding[] {
  if (sharpness === null || sharpness >= LEAST_SHARP * best) return [];
  const name = nameOf(tracked);
  return [
    {
      kind: 'soft',
      pass: name,
      detail: `The pass "${name}" has ${Math.round((100 * sharpness) / best)} % of the sharpest one's fine detail.`,
      advice: 'Focus again on the limb or the terminator, and shoot it again.',
    },
  ];
}

function spoiled({ tracked, dark }: LookedAtPass): Finding[] {
  const name = nameOf(tracked);
  const of = (reason: string): readonly string[] =>
    tracked.leftOut.filter((loss) => loss.reason === reason && !dark.has(loss.item)).map(({ item }) => item);
  const clouds = of('clouded');
  const { tiltPx } = tracked.path;
  const far = tracked.frames.filter(({ offPathPx }) => offPathPx > Math.max(FAR_PX, FAR_TIMES * tiltPx));
  const bumps = [...of('bumped'), ...far.map(({ item }) => item)];
  const found: Finding[] = [];
  if (clouds.length > 0) {
    const detail = `A cloud passed during "${name}", near ${clouds[0]}.`;
    found.push({
      kind: 'clouded',
      pass: name,
      detail,
      advice: 'These frames will be left out; shoot it again if the sky clears.',
    });
  }
  if (bumps.length > 0) {
    const detail = `The telescope was moved during "${name}", near ${bumps[0]}.`;
    found.push({
      kind: 'bumped',
      pass: name,
      detail,
      advice: 'These frames will be left out; let nobody touch the mount.',
    });
  }
  const lost = 1 - tracked.frames.length / (tracked.graded.frames.length - dark.size);
  if (lost > MOST_LOST && clouds.length + bumps.length === 0) {
    const detail = `Of the pass "${name}" ${Math.round(100 * lost)} % of the frames cannot be used.`;
    found.push({ kind: 'lost', pass: name, detail, advice: 'Look at them; shoot the pass again.' });
  }
  return found;
}
