import type { DecodedPicture } from '../capture/clip-stage.js';
import type { ClipPicture } from '../capture/clip-window.js';
import type { FrameFile, Pass } from '../capture/pass.js';
import { type Reading, readingKey } from '../capture/reading.js';
import { planesInFile, type StoredPlane } from '../compute/plane-source.js';
import type { JobContext } from '../job/context.js';
import type { LeftOut } from '../job/errors.js';
import { createFloatsFile, readFloats, writeFloats } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import { BLOCK_PX, type BlockGrid } from './blocks.js';
import { sensorDefects } from './defects.js';
import { type FrameGrade, type FrameLook, gradeFrameTask } from './grade-frame.js';

/** Why grading leaves a frame out. */
export type GradeLoss = 'unreadable' | 'no-body' | 'on-the-way';

/** A frame that can be used. */
export interface GradedFrame {
  /** Its place in the recording, counted from 0 over all frames of the pass. */
  readonly index: number;
  readonly item: string;
  readonly path: string;
  /** Where the path is that of a clip: the picture in it. */
  readonly clip: ClipPicture | undefined;
  readonly sha256: string;
  readonly grade: FrameGrade;
  readonly blocks: BlockGrid;
  /** Luminance binned by the pass's factor. */
  readonly proxy: StoredPlane;
}

/** A pass after the first look at each of its frames. */
export interface GradedPass {
  readonly pass: Pass;
  /** Proxies are the frames binned by this factor. */
  readonly binFactor: number;
  /** How its frames become light. */
  readonly reading: Reading;
  readonly frames: readonly GradedFrame[];
  readonly leftOut: readonly LeftOut<GradeLoss>[];
  /** Pixels of the sensor that stand out in most frames, by index; see {@link sensorDefects}. */
  readonly defects: Uint32Array;
}

/** Longest side of a proxy, px: registration and photometry work at this scale. */
const PROXY_SIDE_PX = 1600;

const PROXY_FILE = 'proxies.f32';

/** The factor by which frames of a capture are binned for a first look: one for all passes, so that scales agree. */
export function proxyFactor(passes: readonly Pass[]): number {
  const side = Math.max(...passes.map((pass) => Math.max(pass.widthPx, pass.heightPx)));
  return Math.max(1, Math.ceil(side / PROXY_SIDE_PX));
}

/** Stage: decodes and grades every frame of a pass; `pictures` are those of a clip. Perhaps none can be used. */
export async function gradePass(
  context: JobContext,
  pass: Pass,
  hashes: ReadonlyMap<string, string>,
  reading: Reading,
  binFactor: number,
  pictures: readonly DecodedPicture[] | null,
): Promise<GradedPass> {
  const width = Math.floor(pass.widthPx / binFactor);
  const height = Math.floor(pass.heightPx / binFactor);
  const proxiesIn = (path: string): StoredPlane[] => planesInFile(path, pass.frames.length, width, height);
  const blocks = pass.frames.map(() => emptyBlocks(width, height, pass.channels));
  const faults = pass.frames.map((_, i) => faultAt(pictures, i));
  const artefact = await runStage(context, {
    name: 'grade',
    subject: pass.name,
    key: {
      frames: pass.frames.map((f) => [f.item, hashes.get(f.item)]),
      reading: readingKey(reading),
      binFactor,
      faults,
    },
    total: pass.frames.length,
    unit: 'frames',
    run: async (handle) => {
      await createFloatsFile(handle.path(PROXY_FILE), pass.frames.length * width * height);
      const proxies = proxiesIn(handle.path(PROXY_FILE));
      const looks: FrameLook[] = faults.map((detail) => ({ kind: 'unreadable', detail }));
      const there = pass.frames.flatMap((_, i) => (faults[i] === '' ? [i] : []));
      const inputs = there.map((i) => {
        const { path } = pass.frames[i]!;
        return { path, clip: clipAt(pictures, i), ...reading, binFactor, proxy: proxies[i]! };
      });
      const seen = await context.pool.map(gradeFrameTask, inputs, {
        signal: context.signal,
        onDone: (done) => handle.step(done),
      });
      seen.forEach((look, k) => {
        looks[there[k]!] = look;
      });
      looks.forEach((look, i) => {
        if (look.kind === 'graded') copyBlocks(look.blocks, blocks[i]!);
      });
      await writeFloats(handle.path('blocks.f32'), blocks.flatMap(blockArrays));
      const spikes = looks.flatMap((look) => (look.kind === 'graded' ? [look.spikes] : []));
      return {
        looks: looks.map((look) => (look.kind === 'graded' ? { kind: look.kind, grade: look.grade } : look)),
        defects: Array.from(sensorDefects(spikes)),
      };
    },
  });
  if (artefact.resumed) await readFloats(artefact.path('blocks.f32'), blocks.flatMap(blockArrays));
  const proxies = proxiesIn(artefact.path(PROXY_FILE));
  const frames: GradedFrame[] = [];
  const leftOut: LeftOut<GradeLoss>[] = [];
  artefact.result.looks.forEach((look, index) => {
    const file = pass.frames[index]!;
    const loss = look.kind === 'unreadable' ? lossOf(file, 'unreadable', look.detail) : emptyFrame(file, look.grade);
    if (loss) leftOut.push(loss);
    else if (look.kind === 'graded') {
      frames.push({
        index,
        item: file.item,
        path: file.path,
        clip: clipAt(pictures, index),
        sha256: hashes.get(file.item)!,
        grade: look.grade,
        blocks: blocks[index]!,
        proxy: proxies[index]!,
      });
    }
  });
  for (const loss of leftOut) context.onProgress({ kind: 'left-out', stage: 'grade', loss });
  return { pass, binFactor, reading, frames, leftOut, defects: Uint32Array.from(artefact.result.defects) };
}

function clipAt(pictures: readonly DecodedPicture[] | null, index: number): ClipPicture | undefined {
  const picture = pictures?.[index];
  return picture && !('fault' in picture) ? picture : undefined;
}

/** What is wrong with a picture of a clip; empty where nothing is. */
function faultAt(pictures: readonly DecodedPicture[] | null, index: number): string {
  const picture = pictures?.[index];
  return picture && 'fault' in picture ? picture.fault : '';
}

function emptyFrame(file: FrameFile, grade: FrameGrade): LeftOut<GradeLoss> | undefined {
  const range = grade.brightLevel - grade.skyLevel;
  const least = 0.004 + 6 * grade.noise;
  if (range >= least) return undefined;
  return lossOf(
    file,
    'no-body',
    `nothing stands out: brightest ground ${range.toFixed(4)} above the sky, at least ${least.toFixed(4)} expected`,
  );
}

function lossOf(file: FrameFile, reason: GradeLoss, detail: string): LeftOut<GradeLoss> {
  return { item: file.item, reason, detail };
}

function emptyBlocks(width: number, height: number, channels: number): BlockGrid {
  const columns = Math.floor(width / BLOCK_PX);
  const rows = Math.floor(height / BLOCK_PX);
  const plane = (): Float32Array => new Float32Array(columns * rows);
  return {
    columns,
    rows,
    means: Array.from({ length: channels }, plane),
    spread: plane(),
    fineEnergy: plane(),
    clipped: plane(),
  };
}

function blockArrays(blocks: BlockGrid): Float32Array[] {
  return [...blocks.means, blocks.spread, blocks.fineEnergy, blocks.clipped];
}

function copyBlocks(from: BlockGrid, to: BlockGrid): void {
  const sources = blockArrays(from);
  blockArrays(to).forEach((target, i) => {
    target.set(sources[i]!);
  });
}
