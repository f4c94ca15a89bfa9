import { readingKey } from '../capture/reading.js';
import { type Affine, applyX, applyY, compose, invert, onFinerGrid } from '../compute/affine.js';
import { type BendGrid, bendAt } from '../compute/bend-grid.js';
import type { Bend } from '../compute/kernels-accumulate.js';
import type { JobContext } from '../job/context.js';
import { hashOfFloats } from '../job/hash.js';
import { runStage } from '../job/stage.js';
import { correctFrameTask, liftOf } from '../photometry/correct-frame.js';
import { type FinePattern, fineFor } from '../photometry/fine-stage.js';
import type { PlacedPass, PlateLight } from '../photometry/light-stage.js';
import { type Intrusion, intrudes } from '../photometry/transient-stage.js';
import { frameKey } from '../quality/frame-key.js';
import { fineNoise } from '../quality/grade-frame.js';
import { type LocalSharpness, localSharpness } from '../quality/local-sharpness.js';
import { type ColourShift, colourShiftTask } from '../registration/colour-shift.js';
import { BEND_STEP_PX, bendOnPlate } from '../registration/seeing-field.js';
import type { SeenFrame } from '../registration/seeing-stage.js';
import { chooseSharp, type SharpChoice, weightAt } from '../strip/sharp-weights.js';
import { boxOf, stackFrames } from '../strip/stack.js';
import type { StripFile } from '../strip/strip-store.js';
import { frameForColour, offsetsOf, partWithDetail } from './strip-colour.js';

/** A finished strip. */
export interface FinishedStrip {
  /** Its box counts in the space of the poses. */
  readonly strip: StripFile;
  /** Everything that its pixels depend on: the key of the stage. */
  readonly key: unknown;
  /** Pose of each frame, frame px -> the space that the strip's box counts in. */
  readonly poses: readonly Affine[];
  /** How each frame is bent and weighed, in the same space. */
  readonly bends: readonly Bend[];
  /** Where red and blue were found against green; null where they could not be, or there are none. */
  readonly colour: ColourShift | null;
  /** How frames are weighed from place to place. */
  readonly sharp: SharpChoice;
}

/** A knot tells about places up to so many proxy px away: its distance to the next ones each way, under any turn. */
const KNOT_REACH_PX: number = Math.ceil(Math.SQRT2 * BEND_STEP_PX) + 1;
/** Share of the run's memory for the frames that wait to be added and the parts of the strip. */
const STACK_SHARE = 0.4;

/**
 * Stage: stacks the frames of one pass at full resolution, straight onto the plate's grid.
 *
 * @param turn takes the common space, in which passes are placed, to that of the plate; both at proxy scale
 */
export async function stripStage(
  context: JobContext,
  placed: PlacedPass,
  turn: Affine,
  light: PlateLight,
  fine: FinePattern,
  intrusions: readonly Intrusion[],
  passIndex: number,
  channels: number,
): Promise<FinishedStrip> {
  const { tracked } = placed;
  const { pass, binFactor, reading, defects } = tracked.graded;
  const corrections = light.corrections[passIndex]!;
  const onPlate = compose(turn, placed.pose);
  const poses = tracked.frames.map((frame) => onFinerGrid(compose(onPlate, frame.pose), binFactor));
  const finePlane = fineFor(fine, pass, binFactor);
  let lift: Float32Array | undefined;
  let colour: ColourShift | null = null;
  const { local, sharp } = sharpMoments(tracked.frames);
  const toTrack = invert(onPlate);
  const joinAt = turned(placed.join, turn);
  const own = intrusions.map(intrudes);
  // What passes through a frame gets no weight at all between the knots around it.
  const weightIn = (k: number, x: number, y: number): number =>
    own[k]!(x, y, KNOT_REACH_PX) ? 0 : weightAt(local, sharp.power, k, x, y);
  const bends = tracked.frames.map((frame, k) =>
    bendOnPlate(frame.field, poses[k]!, pass.widthPx, pass.heightPx, binFactor, joinAt, (x, y) =>
      weightIn(k, applyX(toTrack, x, y), applyY(toTrack, x, y)),
    ),
  );
  const toldBy = channels === 3 && pass.channels === 3 ? frameForColour(tracked.frames) : undefined;
  const order = tracked.frames.map((_, k) => k).sort((a, b) => Number(b === toldBy) - Number(a === toldBy) || a - b);
  const frames = order.map((k) => ({
    width: pass.widthPx,
    height: pass.heightPx,
    pose: poses[k]!,
    weight: 1,
    bend: bends[k]!,
    offsets: () => (colour ? offsetsOf(colour) : undefined),
    load: async (planes: readonly Float32Array[]) => {
      lift ??= liftOf(
        light.pattern,
        pass.widthPx,
        pass.heightPx,
        context.pool.floats.take(pass.widthPx * pass.heightPx),
        finePlane,
        binFactor,
      );
      const { path, clip } = tracked.frames[k]!;
      const input = { path, clip, ...reading, lift, correction: corrections[k]!, defects, planes };
      await context.pool.run(correctFrameTask, input, { signal: context.signal });
      if (k !== toldBy) return;
      const image = { width: pass.widthPx, height: pass.heightPx, planes };
      const part = partWithDetail(tracked.frames[k]!.blocks, pass.widthPx, pass.heightPx, binFactor);
      colour = await context.pool.run(colourShiftTask, { image, ...part }, { signal: context.signal });
    },
  }));
  const box = boxOf(frames);
  const key = {
    frames: tracked.frames.map((f, k) => [...frameKey(f), poses[k], corrections[k], hashOfFloats(bends[k]!.knots)]),
    reading: readingKey(reading),
    defects: Array.from(defects),
    pattern: light.pattern,
    fine: finePlane ? fine.hash : '',
    channels,
  };
  const artefact = await runStage(context, {
    name: 'strip',
    subject: pass.name,
    key,
    total: frames.length,
    unit: 'frames',
    needBytes: box.width * box.height * 4 * (channels + 1),
    run: async (handle) => {
      await stackFrames(frames, {
        ...{
          path: handle.path(STRIP_FILE),
          box,
          channels,
          pool: context.pool,
          signal: context.signal,
        },
        memoryBytes: STACK_SHARE * context.memoryBytes,
        onDone: (done) => handle.step(done),
      });
      if (lift) context.pool.floats.give([lift]);
      return { box, colour, sharp };
    },
  });
  const raster = { path: artefact.path(STRIP_FILE), width: box.width, height: box.height, planes: channels + 1 };
  return { strip: { box, raster }, key, poses, bends, colour: artefact.result.colour, sharp };
}

/** The bend at a place on the turned plane. */
function turned(bend: BendGrid, turn: Affine): (x: number, y: number) => [number, number] {
  const back = invert(turn);
  return (x, y) => {
    const [bx, by] = bendAt(bend, applyX(back, x, y), applyY(back, x, y));
    return [turn.xx * bx + turn.xy * by, turn.yx * bx + turn.yy * by];
  };
}

function sharpMoments(frames: readonly SeenFrame[]): { local: LocalSharpness; sharp: SharpChoice } {
  const local = localSharpness(frames.map((f) => ({ ...f, fineNoise: fineNoise(f.grade.noise) })));
  return { local, sharp: chooseSharp(local) };
}

const STRIP_FILE = 'strip.f32';
