import type { RecordedCurve } from '../capture/read-still.js';
import { readingKey } from '../capture/reading.js';
import { type Affine, compose, IDENTITY, invert } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import { runStage, type StageHandle } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { Masked } from '../registration/lock.js';
import type { SeenPass } from '../registration/seeing-stage.js';
import { edgeTask, turnedEdgeTask } from './edge.js';
import { groupOnGuide, guideScale, guideTask } from './guide-place.js';
import { type JoinField, joinTask } from './join-field.js';
import { contradicts, discOfGroup, type GroupDisc, limbTask, shiftByLimb } from './limb-place.js';
import { turnByWay, turnedDisc, wayOfGroup } from './limb-turn.js';
import { decide, type OverlapFigures, type OverlapReason, type OverlapVerdict } from './overlap-verdict.js';
import { type ProxyStrip, proxyStrip } from './proxy-strip.js';
import { residualsOf, type TieResidual } from './residuals.js';
import { type PlacedEdge, solvePlacement } from './solve.js';

/** A measured overlap of two passes, for the sidecar. */
export interface EdgeReport {
  readonly fixed: string;
  readonly moving: string;
  readonly ties: number;
  /** Residual of the ties after the solve, px per axis at proxy scale. Null when it was not used. */
  readonly rmsPx: number | null;
  readonly correlation: number;
  readonly significance: number;
  /** Whether a loop of overlaps could have contradicted it. */
  readonly tested: boolean;
  /** Why it was not used, and the figures that decided it; null and empty when it was. */
  readonly refused: OverlapReason | null;
  readonly detail: string;
}

/**
 * By overlaps with other passes, on a guide (a picture of the whole disc), by its limb and the way of the sky alone, or
 * not at all. The first group of passes is placed by overlaps.
 */
export type PlacedBy = 'overlap' | 'guide' | 'limb' | null;

/** A picture of the whole disc, at any scale. */
export interface Guide {
  /** Path relative to the capture. */
  readonly item: string;
  readonly path: string;
  readonly sha256: string;
  readonly curve: RecordedCurve;
}

/** Where every pass lies. */
export interface PlacedPasses {
  /** Strip px -> common px at proxy scale, by pass; null for a pass that belongs nowhere. */
  readonly poses: readonly (Affine | null)[];
  /** What the passes are still bent by, in the common space, by pass; null for a pass that belongs nowhere. */
  readonly joins: readonly (JoinField | null)[];
  /** What tells the place of each pass. */
  readonly placedBy: readonly PlacedBy[];
  readonly edges: readonly EdgeReport[];
  /** What the poses leave of the overlaps, in the order of `edges`; empty for one that joins nothing. */
  readonly residuals: readonly (readonly TieResidual[])[];
  readonly figures: OverlapFigures;
  /** Groups of passes, by index, that overlap among themselves and not with others; largest first. */
  readonly groups: readonly (readonly number[])[];
}

/** Stage: finds the overlaps of the strips and solves for the pose of every pass that connects. */
export async function placeStage(
  context: JobContext,
  passes: readonly SeenPass[],
  guide: Guide | null,
): Promise<PlacedPasses> {
  const artefact = await runStage<PlacedRecord>(context, {
    name: 'place',
    key: {
      passes: passes.map((p) => ({
        reading: readingKey(p.graded.reading),
        bin: p.graded.binFactor,
        frames: p.frames.map((f) => [...frameKey(f), f.pose, f.weight]),
      })),
      guide: guide && [guide.sha256, guide.curve],
    },
    // Each strip, each pair, and what follows from them: the last takes long only where overlaps are not enough.
    total: passes.length + pairsOf(passes.length).length + 1,
    run: async (handle) => {
      const placed = await placeStrips(context, passes, guide, handle);
      return { ...placed, joins: placed.joins.map((j) => j && { ...j, x: Array.from(j.x), y: Array.from(j.y) }) };
    },
  });
  const { joins, ...placed } = artefact.result;
  return {
    ...placed,
    joins: joins.map((j) => j && { ...j, x: Float32Array.from(j.x), y: Float32Array.from(j.y) }),
  };
}

/** {@link PlacedPasses} as plain JSON. */
interface PlacedRecord extends Omit<PlacedPasses, 'joins'> {
  readonly joins: readonly (
    | (Omit<JoinField, 'x' | 'y'> & { readonly x: readonly number[]; readonly y: readonly number[] })
    | null
  )[];
}

async function placeStrips(
  context: JobContext,
  passes: readonly SeenPass[],
  guide: Guide | null,
  handle: StageHandle,
): Promise<PlacedPasses> {
  const strips: ProxyStrip[] = [];
  for (const pass of passes) {
    strips.push(await proxyStrip(context, pass, handle.path('strip.f32')));
    handle.step(strips.length);
  }
  const told = (done: number): void => handle.step(strips.length + done);
  const near = await overlapsAmong(context, strips, pairsOf(strips.length), edgeTask, told);
  const apart = decide(strips, near).groups;
  // Only where something is still missing: a search under any turn takes seconds a pair.
  const groupOf = (s: number): number => apart.findIndex((g) => g.includes(s));
  const split = pairsOf(strips.length).filter(({ fixed, moving }) => groupOf(fixed) !== groupOf(moving));
  const edges = [...near, ...(await overlapsAmong(context, strips, split, turnedEdgeTask))];
  const { groups, verdicts, figures } = decide(strips, edges);
  const poses: (Affine | null)[] = strips.map(() => null);
  const placedBy: PlacedBy[] = strips.map(() => null);
  const rmsPx = new Map<PlacedEdge, number>();
  const inGroup = new Map<number, Affine>();
  for (const group of groups) {
    const own = edges.filter((e, k) => verdicts[k]!.kept && group.includes(e.fixed));
    const sizes = new Map(group.map((s) => [s, strips[s]!.masked.light]));
    const solved = solvePlacement(group, own, sizes, group[0]!);
    for (const s of group) inGroup.set(s, solved.poses.get(s)!);
    own.forEach((e, k) => {
      rmsPx.set(e, solved.edgeRmsPx[k]!);
    });
  }
  const reports = edges.map((e, k) => reportOf(e, verdicts[k]!, rmsPx.get(e) ?? null, passes));
  const discs = groups.length > 1 ? await discsOf(context, strips, groups, inGroup) : [];
  const ways = discs.map(
    (disc, k) =>
      disc &&
      wayOfGroup(
        groups[k]!.map((s) => ({ heading: strips[s]!.way, pose: inGroup.get(s)! })),
        disc,
      ),
  );
  const onGuide = groups.length > 1 && guide ? await groupsOnGuide(context, strips, groups, inGroup, guide) : [];
  const common = new Map<number, Affine>();
  groups.forEach((group, k) => {
    const byGuide = k > 0 && onGuide[0] && onGuide[k] ? compose(invert(onGuide[0]), onGuide[k]) : null;
    const shift = k === 0 ? IDENTITY : (byGuide ?? poseByLimb(k));
    const placed = groups.slice(0, k).flatMap((g) => g.filter((s) => placedBy[s] !== null));
    const at = (s: number) => ({ masked: strips[s]!.masked, pose: common.get(s)! });
    if (shift) for (const s of group) common.set(s, compose(shift, inGroup.get(s)!));
    if (!shift || (!byGuide && contradicts(placed.map(at), group.map(at)))) return;
    for (const s of group) {
      poses[s] = compose(common.get(s)!, strips[s]!.toStrip);
      placedBy[s] = k === 0 ? 'overlap' : byGuide ? 'guide' : 'limb';
    }
  });
  const residuals = edges.map((e, k) => (verdicts[k]!.kept && poses[e.fixed] ? residualsOf(e, common) : []));
  const joined = strips.map(({ masked: { light } }, s) =>
    poses[s]
      ? { pose: common.get(s)!, widthPx: light.width, heightPx: light.height, frames: passes[s]!.frames.length }
      : null,
  );
  const used = edges.filter((_, k) => verdicts[k]!.kept);
  const joins = await context.pool.run(joinTask, { strips: joined, edges: used }, { signal: context.signal });
  return { poses, joins, placedBy, edges: reports, residuals, figures, groups };

  /** Lays a group on the first by its limb, turned as its way says where that is known. */
  function poseByLimb(k: number): Affine | null {
    const main = discs[0];
    const own = discs[k];
    if (!main || !own) return null;
    const turn = turnByWay(ways[0]!, ways[k]!, own) ?? IDENTITY;
    const shift = shiftByLimb(main, turnedDisc(own, turn));
    return shift && compose(shift, turn);
  }
}

interface StripPair {
  readonly fixed: number;
  readonly moving: number;
}

function pairsOf(count: number): StripPair[] {
  const all = Array.from({ length: count }, (_, s) => s);
  return all.flatMap((fixed) => all.slice(fixed + 1).map((moving) => ({ fixed, moving })));
}

async function overlapsAmong(
  context: JobContext,
  strips: readonly { readonly masked: Masked }[],
  pairs: readonly StripPair[],
  task: typeof edgeTask,
  onDone: (done: number) => void = () => {},
): Promise<PlacedEdge[]> {
  const inputs = pairs.map(({ fixed, moving }) => ({ fixed: strips[fixed]!.masked, moving: strips[moving]!.masked }));
  const found = await context.pool.map(task, inputs, { signal: context.signal, onDone });
  return pairs.flatMap((pair, k) => (found[k] ? [{ ...pair, edge: found[k] }] : []));
}

/** Each group's space -> the guide in strip scale; null for groups that are not to be seen on it. */
async function groupsOnGuide(
  context: JobContext,
  strips: readonly { readonly masked: Masked }[],
  groups: readonly (readonly number[])[],
  inGroup: ReadonlyMap<number, Affine>,
  { path, curve }: Guide,
): Promise<(Affine | null)[]> {
  const inputs = strips.map(({ masked }) => ({ path, curve, strip: masked }));
  const sightings = await context.pool.map(guideTask, inputs, { signal: context.signal });
  const scale = guideScale(sightings);
  if (scale === undefined) return [];
  return groups.map((group) =>
    groupOnGuide(
      group.map((s) => ({
        sighting: sightings[s]!,
        pose: inGroup.get(s)!,
        widthPx: strips[s]!.masked.light.width,
        heightPx: strips[s]!.masked.light.height,
      })),
      scale,
    ),
  );
}

function reportOf(
  { fixed, moving, edge }: PlacedEdge,
  verdict: OverlapVerdict,
  rmsPx: number | null,
  passes: readonly SeenPass[],
): EdgeReport {
  return {
    fixed: passes[fixed]!.graded.pass.name,
    moving: passes[moving]!.graded.pass.name,
    ties: edge.ties.length,
    rmsPx,
    correlation: edge.correlation,
    significance: edge.lock.significance,
    tested: verdict.tested,
    refused: verdict.reason,
    detail: verdict.detail,
  };
}

/** The disc of each group of strips, in the group's own space. */
async function discsOf(
  context: JobContext,
  strips: readonly { readonly masked: Masked }[],
  groups: readonly (readonly number[])[],
  inGroup: ReadonlyMap<number, Affine>,
): Promise<(GroupDisc | null)[]> {
  const limbs = await context.pool.map(
    limbTask,
    strips.map((s) => s.masked),
    { signal: context.signal },
  );
  return groups.map((group) => discOfGroup(group.map((s) => ({ limb: limbs[s]!, pose: inGroup.get(s)! }))));
}
