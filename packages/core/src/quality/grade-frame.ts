import { type FrameSource, type OpenFrame, openFrame } from '../capture/open-frame.js';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane, type RowSource } from '../compute/image.js';
import type { Survey } from '../compute/kernels-survey.js';
import { type StoredPlane, storePlane } from '../compute/plane-source.js';
import { quantile } from '../compute/quantile.js';
import { defineTask, type Task } from '../compute/task.js';
import { InputError } from '../job/errors.js';
import { type BlockGrid, reduceToBlocks } from './blocks.js';
import { frameSharpness } from './frame-sharpness.js';
import { noiseOfRows, noiseSigma } from './noise.js';
import { surveyFrame } from './survey.js';

/** What one look at a frame says. Light is linear, 1 = clipping. */
export interface FrameGrade {
  /** Level that the darkest 2 % of the frame stay below: the sky, where the frame shows any. */
  readonly skyLevel: number;
  /** Level that all but 0.5 % stay below. */
  readonly brightLevel: number;
  /** Noise of a proxy pixel, standard deviation. */
  readonly noise: number;
  /** Share of the recorded pixels with a clipped channel. */
  readonly clipped: number;
  /** Share of the frame that is brighter than the sky by a tenth of the range. */
  readonly litShare: number;
  /** See {@link frameSharpness}. */
  readonly fineSharpness: number | null;
  readonly bitsPerSample: number;
  readonly curve: string;
  readonly notes: readonly string[];
}

/** Input of {@link gradeFrameTask}. The file of `proxy` is there, and is written to. */
export interface GradeFrameInput extends FrameSource {
  readonly binFactor: number;
  readonly proxy: StoredPlane;
}

/** Outcome of {@link gradeFrameTask}: a frame that cannot be read is data, not a failure of the run. */
export type FrameLook =
  | { readonly kind: 'graded'; readonly grade: FrameGrade; readonly blocks: BlockGrid; readonly spikes: Uint32Array }
  | { readonly kind: 'unreadable'; readonly detail: string };

/** Decodes, bins to the proxy and grades one frame in a worker. */
export const gradeFrameTask: Task<GradeFrameInput, FrameLook> = defineTask('quality/grade');

export async function runGradeFrame(input: GradeFrameInput): Promise<FrameLook> {
  try {
    return gradeOpen(input, await openFrame(input));
  } catch (error) {
    if (error instanceof InputError) return { kind: 'unreadable', detail: error.message };
    throw error;
  }
}

function gradeOpen(input: GradeFrameInput, still: OpenFrame): FrameLook {
  const survey = surveyOf(still, input);
  const proxy = survey.light;
  storePlane(input.proxy, proxy.data);
  const noise = noiseSigma(proxy);
  const blocks = reduceToBlocks(survey, fineDetail(proxy), fineNoise(noise));
  const sample = everyNth(proxy.data, Math.max(1, Math.floor(proxy.data.length / 50_000)));
  const skyLevel = quantile(sample, 0.02);
  const brightLevel = quantile(sample, 0.995);
  const edge = skyLevel + 0.1 * (brightLevel - skyLevel);
  let lit = 0;
  for (let i = 0; i < proxy.data.length; i++) if (proxy.data[i]! > edge) lit++;
  const grade = {
    skyLevel,
    brightLevel,
    noise,
    clipped: still.clipped(),
    litShare: lit / proxy.data.length,
    fineSharpness: frameSharpness(still),
    bitsPerSample: still.bitsPerSample,
    curve: still.curve,
    notes: still.notes,
  };
  return { kind: 'graded', grade, blocks, spikes: survey.spikes };
}

/** A calibrated frame may be brighter than 1 without being clipped: that is told by what was recorded. */
function surveyOf(still: OpenFrame, { binFactor, calibration }: GradeFrameInput): Survey {
  const survey = surveyFrame(still, binFactor, firstNoise(still));
  return calibration ? { ...survey, clipped: surveyFrame(still.recorded, binFactor, 0).clipped } : survey;
}

/** σ of the two Gaussians whose difference is the finest detail that optics and noise leave, px. */
const FINE_SIGMAS_PX = [0.7, 1.6] as const;
/** Standard deviation of that difference for white noise of standard deviation 1: √(1/4π(a²) + 1/4π(b²) − 2/2π(a²+b²)). */
const FINE_NOISE_GAIN: number = Math.sqrt(
  1 / (4 * Math.PI * FINE_SIGMAS_PX[0] ** 2) +
    1 / (4 * Math.PI * FINE_SIGMAS_PX[1] ** 2) -
    1 / (Math.PI * (FINE_SIGMAS_PX[0] ** 2 + FINE_SIGMAS_PX[1] ** 2)),
);

/** What noise of a proxy pixel adds to the energy of the finest detail. */
export function fineNoise(noise: number): number {
  return (FINE_NOISE_GAIN * noise) ** 2;
}

function fineDetail(proxy: Plane): Plane {
  const near = gaussianBlur(proxy, FINE_SIGMAS_PX[0]);
  const far = gaussianBlur(proxy, FINE_SIGMAS_PX[1]);
  const out = createPlane(proxy.width, proxy.height);
  const [a, b] = [near.data, far.data];
  for (let i = 0; i < out.data.length; i++) out.data[i] = a[i]! - b[i]!;
  return out;
}

function everyNth(data: Float32Array, step: number): Float32Array {
  const out = new Float32Array(Math.ceil(data.length / step));
  for (let i = 0; i < out.length; i++) out[i] = data[i * step]!;
  return out;
}

/** Noise of a pixel of the first channel, from a few rows. */
function firstNoise({ width, height, channels, rows }: RowSource): number {
  const held = Array.from({ length: channels }, () => new Float32Array(3 * width));
  return noiseOfRows(width, height, (y) => {
    rows(y - 1, held);
    return held[0]!;
  });
}
