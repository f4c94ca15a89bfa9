import { type Affine, compose } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import type { Masked } from '../registration/lock.js';
import type { TrackedPass } from '../registration/track-stage.js';
import { boxOf, stackFrames } from '../strip/stack.js';
import { edgeTask } from './edge.js';
import { type PlacedEdge, solvePlacement } from './solve.js';

/** A measured overlap of two passes, for the sidecar. */
export interface EdgeReport {
  readonly fixed: string;
  readonly moving: string;
  readonly ties: number;
  /** Residual of the ties after the solve, px per axis at proxy scale. */
  readonly rmsPx: number;
  readonly correlation: number;
  readonly significance: number;
}

/** Where every pass lies. */
export interface PlacedPasses {
  /** Strip px -> common px at proxy scale, by pass, for the passes of the largest connected group. */
  readonly poses: readonly (Affine | null)[];
  readonly edges: readonly EdgeReport[];
  /** Groups of passes, by index, that overlap among themselves and not with others; largest first. */
  readonly groups: readonly (readonly number[])[];
}

/** Stage: finds the overlaps of the strips and solves for the pose of every pass that connects. */
export async function placeStage(context: JobContext, passes: readonly TrackedPass[]): Promise<PlacedPasses> {
  const artefact = await runStage(context, {
    name: 'place',
    key: passes.map((p) => ({ bin: p.graded.binFactor, frames: p.frames.map((f) => [f.sha256, f.pose, f.weight]) })),
    run: () => placeStrips(context, passes),
  });
  return artefact.result;
}

async function placeStrips(context: JobContext, passes: readonly TrackedPass[]): Promise<PlacedPasses> {
  const strips: { masked: Masked; toStrip: Affine }[] = [];
  for (const pass of passes) strips.push(await proxyStrip(context, pass));
  const pairs: { fixed: number; moving: number }[] = [];
  for (let i = 0; i < strips.length; i++)
    for (let j = i + 1; j < strips.length; j++) pairs.push({ fixed: i, moving: j });
  const inputs = pairs.map(({ fixed, moving }) => ({ fixed: strips[fixed]!.masked, moving: strips[moving]!.masked }));
  const found = await context.pool.map(edgeTask, inputs, { signal: context.signal });
  const edges: PlacedEdge[] = pairs.flatMap((pair, k) => (found[k] ? [{ ...pair, edge: found[k] }] : []));
  const groups = groupsOf(strips.length, edges);
  const poses: (Affine | null)[] = strips.map(() => null);
  const reports: EdgeReport[] = [];
  for (const group of groups) {
    const own = edges.filter((e) => group.includes(e.fixed));
    const sizes = new Map(group.map((s) => [s, strips[s]!.masked.light]));
    const solved = solvePlacement(group, own, sizes, group[0]!);
    for (const s of group) poses[s] = compose(solved.poses.get(s)!, strips[s]!.toStrip);
    own.forEach((e, k) => {
      reports.push({
        fixed: passes[e.fixed]!.graded.pass.name,
        moving: passes[e.moving]!.graded.pass.name,
        ties: e.edge.ties.length,
        rmsPx: solved.edgeRmsPx[k]!,
        correlation: e.edge.correlation,
        significance: e.edge.lock.significance,
      });
    });
  }
  return { poses, edges: reports, groups };
}

/** Luminance strip of a pass at proxy scale; `toStrip` maps the track's space to its grid. */
async function proxyStrip(context: JobContext, pass: TrackedPass): Promise<{ masked: Masked; toStrip: Affine }> {
  const frames = pass.frames.map((f) => ({
    width: f.proxy.width,
    height: f.proxy.height,
    pose: f.pose,
    weight: f.weight,
    load: async (planes: readonly Float32Array[]) => planes[0]!.set(f.proxy.data),
  }));
  const box = boxOf(frames);
  const sums = await stackFrames(frames, box, 1, context.pool, context.signal);
  const coverage = createPlane(box.width, box.height, true);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = sums.weight[i]! > 0 ? 1 : 0;
  const light = { width: box.width, height: box.height, data: sums.planes[0]! };
  return { masked: { light, coverage }, toStrip: { xx: 1, xy: 0, yx: 0, yy: 1, tx: -box.x0, ty: -box.y0 } };
}

function groupsOf(count: number, edges: readonly PlacedEdge[]): number[][] {
  const group = Array.from({ length: count }, (_, i) => i);
  for (const { fixed, moving } of edges) {
    const from = group[moving]!;
    const to = group[fixed]!;
    for (let i = 0; i < count; i++) if (group[i] === from) group[i] = to;
  }
  const members = new Map<number, number[]>();
  group.forEach((g, i) => {
    members.set(g, [...(members.get(g) ?? []), i]);
  });
  return [...members.values()].sort((a, b) => b.length - a.length || a[0]! - b[0]!);
}
