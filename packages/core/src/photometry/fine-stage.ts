import type { Pass } from '../capture/pass.js';
import { readingKey } from '../capture/reading.js';
import { createPlane, type Plane } from '../compute/image.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { hashOfFloats } from '../job/hash.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import { liftOf } from './correct-frame.js';
import { defectsOnProxy, type FineFrame, fineFrames } from './fine-frame.js';
import { FINE_ROUNDS, measureFine, tellsPattern } from './fine-measure.js';
import type { PlacedPass, PlateLight } from './light-stage.js';

/** The sensor's fine fixed pattern: dust shadows and what else stays in place while the ground moves on. */
export interface FinePattern {
  /** Natural log of the factor on the light, at proxy scale; undefined when the drift could not tell it. */
  readonly plane: Plane | undefined;
  /** SHA-256 of the plane's numbers; empty without one. */
  readonly hash: string;
  readonly figures: FineFigures;
}

/** What the sidecar says of it. */
export interface FineFigures {
  /** False when the passes have too few frames or drift too little; the pattern is 0 then. */
  readonly measured: boolean;
  /** Rms over the sensor, and the deepest shadow, as shares of the light. */
  readonly rms: number;
  readonly deepest: number;
}

const UNKNOWN: FineFigures = { measured: false, rms: 0, deepest: 0 };
/** Most frames of all passes that take part. */
const MOST_FRAMES = 64;

/** Stage: finds the fine pattern that all passes with frames of the first one's size share. */
export async function fineStage(
  context: JobContext,
  passes: readonly PlacedPass[],
  light: PlateLight,
): Promise<FinePattern> {
  const { width, height } = passes[0]!.tracked.frames[0]!.proxy;
  const most = Math.max(4, Math.floor(MOST_FRAMES / passes.length));
  const usable = passes
    .map((p, index) => chosenFrames(p, light, index, most))
    .filter((frames) => frames[0]!.light.width === width && frames[0]!.light.height === height)
    .filter(tellsPattern);
  if (usable.length === 0) return { plane: undefined, hash: '', figures: UNKNOWN };
  const plane = createPlane(width, height, true);
  const artefact = await runStage(context, {
    name: 'fine-pattern',
    key: {
      pattern: light.pattern,
      passes: passes.map(({ tracked: { graded, frames } }, p) => [
        { bin: graded.binFactor, reading: readingKey(graded.reading), defects: Array.from(graded.defects) },
        frames.map((f, k) => [
          ...frameKey(f),
          f.pose,
          light.corrections[p]![k],
          hashOfFloats(f.field.x),
          hashOfFloats(f.field.y),
        ]),
      ]),
    },
    total: FINE_ROUNDS * usable.length,
    run: async (handle) => {
      const lift = liftOf(light.pattern, width, height, context.pool.floats.take(width * height));
      const step = (done: number): void => handle.step(done);
      plane.data.set((await measureFine(usable, lift, context.pool, context.signal, step)).data);
      context.pool.floats.give([lift]);
      await writeFloats(handle.path('fine.f32'), [plane.data]);
      return figuresOf(plane.data);
    },
  });
  if (artefact.resumed) await readFloats(artefact.path('fine.f32'), [plane.data]);
  return { plane, hash: hashOfFloats(plane.data), figures: artefact.result };
}

/** The plane of a pass, whose frames must be of the size that it was found for; undefined for others. */
export function fineFor({ plane }: FinePattern, { widthPx, heightPx }: Pass, binFactor: number): Plane | undefined {
  const fits = plane?.width === Math.floor(widthPx / binFactor) && plane.height === Math.floor(heightPx / binFactor);
  return fits ? plane : undefined;
}

function chosenFrames(
  { tracked: { frames, graded } }: PlacedPass,
  light: PlateLight,
  index: number,
  most: number,
): FineFrame[] {
  const corrections = light.corrections[index]!;
  const count = Math.min(most, frames.length);
  const chosen = Array.from({ length: count }, (_, i) =>
    Math.round((i * (frames.length - 1)) / Math.max(1, count - 1)),
  );
  return fineFrames(
    chosen.map((k) => frames[k]!),
    chosen.map((k) => corrections[k]!),
    defectsOnProxy(graded.defects, graded.pass.widthPx, frames[0]!.proxy, graded.binFactor),
  );
}

function figuresOf(log: Float32Array): FineFigures {
  let sum = 0;
  let least = 0;
  for (const v of log) {
    sum += v * v;
    if (v < least) least = v;
  }
  return { measured: true, rms: Math.sqrt(sum / log.length), deepest: 1 - Math.exp(least) };
}
