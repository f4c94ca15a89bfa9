import { compose, invert, translation } from '../compute/affine.js';
import { accumulateWithKernels, type FrameToAdd } from '../compute/kernels-accumulate.js';
import { planeRows } from '../compute/plane-source.js';
import { defineTask, type Task } from '../compute/task.js';

import { type FineFrame, groundLight, rowsSeen } from './fine-frame.js';

/** The ground that a pass shows, on whole pixels: light and its weight, each times the other weight, of the resampling. */
export type GroundSums = FrameToAdd['sums'];

/** What both steps of a round are told. Everything that is a plane lies in shared memory. */
export interface FineRound {
  readonly ground: GroundSums;
  /** Frames of one pass. */
  readonly frames: readonly FineFrame[];
  /** What recorded light is multiplied with to undo the smooth pattern. */
  readonly lift: Float32Array;
  /** What is known of the fine pattern so far, natural log. */
  readonly known: Float32Array;
  /** What light from each place of the sensor counts in the ground, 0..1. */
  readonly trust: Float32Array;
  /** First and one past the last row to be worked on: of the ground, or of the sensor. */
  readonly rows: readonly [number, number];
}

/** Fills rows of a pass's ground with the mean of its frames. */
export interface GroundRowsInput extends FineRound {
  readonly kind: 'ground';
}

/** Holds the frames of a pass against its ground, on rows of the sensor. */
export interface SensorRowsInput extends FineRound {
  readonly kind: 'sensor';
  /** Added to. */
  readonly sums: FineSums;
}

/** Residuals as they add up on the sensor, from frames of even and of odd number: residual × weight, and weight. */
export interface FineSums {
  readonly residual: readonly [Float32Array, Float32Array];
  readonly weight: readonly [Float32Array, Float32Array];
}

/** One step of the search for the fine pattern, in a worker. */
export const fineTask: Task<GroundRowsInput | SensorRowsInput, null> = defineTask('photometry/fine');

export function runFine(input: GroundRowsInput | SensorRowsInput): null {
  if (input.kind === 'ground') meanGround(input);
  else compareOnSensor(input);
  return null;
}

function meanGround({ ground, frames, lift, trust, rows: [from, to] }: GroundRowsInput): void {
  const [light, count] = ground.planes as [Float32Array, Float32Array];
  const { width, height } = frames[0]!.light;
  const own = new Float32Array(width * height);
  for (const plane of [light, count, ground.weight]) plane.fill(0, from * ground.width, to * ground.width);
  for (const frame of frames) {
    const [first, last] = rowsSeen(frame, ground.y0 + from, ground.y0 + to);
    if (first === last) continue;
    groundLight(frame, lift, first, last, own);
    for (let i = first * width; i < last * width; i++) own[i]! *= trust[i]!;
    accumulateWithKernels({
      sums: ground,
      rows: [from, to],
      frame: { width, height, planes: [own, trust] },
      plateToFrame: invert(frame.pose),
      frameWeight: 1,
      featherPx: FEATHER_PX,
      bend: frame.onGround,
    });
  }
  for (let i = from * ground.width; i < to * ground.width; i++) light[i] = count[i]! > 0 ? light[i]! / count[i]! : 0;
}

/** Weights rise from a frame's border over this distance. */
const FEATHER_PX = 12;

function compareOnSensor({ ground, frames, lift, known, trust, rows: [from, to], sums }: SensorRowsInput): void {
  const { width, height } = frames[0]!.light;
  const rows = to - from + 2;
  const [expected, seen, reached] = [0, 0, 0].map(() => new Float32Array(rows * width)) as [
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const defect = new Uint8Array(width * height);
  for (const i of frames[0]!.defects) defect[i] = 1;
  frames.forEach((frame, k) => {
    for (const plane of [expected, seen, reached]) plane.fill(0);
    accumulateWithKernels({
      sums: { width, height: rows, x0: 0, y0: from - 1, planes: [expected, seen], weight: reached },
      rows: [0, rows],
      frame: { width: ground.width, height: ground.height, planes: ground.planes },
      plateToFrame: compose(translation(-ground.x0, -ground.y0), frame.pose),
      frameWeight: 1,
      featherPx: 0,
      bend: frame.onSensor,
    });
    const residual = sums.residual[k % 2]!;
    const weight = sums.weight[k % 2]!;
    const recorded = planeRows(frame.light, from, to);
    const noise2 = frame.noise * frame.noise;
    for (let y = Math.max(EDGE_PX, from); y < Math.min(to, height - EDGE_PX); y++) {
      const left = frame.sky + frame.slopeY * y;
      for (let x = EDGE_PX; x < width - EDGE_PX; x++) {
        const j = (y - from + 1) * width + x;
        const i = y * width + x;
        const count = seen[j]!;
        const own = recorded[i - from * width]!;
        if (
          defect[i] === 1 ||
          count < LEAST_FRAMES ||
          own > CLIPPING ||
          reached[j - 1 - width] === 0 ||
          reached[j + 1 + width] === 0
        )
          continue;
        const level = frame.gain * (expected[j]! + left + frame.slopeX * x);
        if (!(level > 2 * frame.noise)) continue;
        const [west, east, north, south] = [
          expected[j - 1]!,
          expected[j + 1]!,
          expected[j - width]!,
          expected[j + width]!,
        ];
        const slope2 = (east - west) ** 2 / 4 + (south - north) ** 2 / 4;
        const curl = west + east + north + south - 4 * expected[j]!;
        const structure = frame.gain * frame.gain * (MISPLACED * MISPLACED * slope2 + BLURRED * BLURRED * curl * curl);
        const variance = (noise2 + structure) / (level * level) + MODEL_SPREAD * MODEL_SPREAD;
        const off = (own * lift[i]!) / level - 1;
        // A frame that goes astray by far more than dust can counts for little (Cauchy).
        const astray = (off - known[i]!) ** 2 / (9 * variance + ASTRAY * ASTRAY);
        const belief = 1 / (variance * (1 + astray));
        residual[i]! += belief * off;
        weight[i]! += belief * (1 - trust[i]! / count);
      }
    }
  });
}

/** The ground must be known from as many frames as this, the one that is held against it among them. */
const LEAST_FRAMES = 1.5;
const CLIPPING = 0.95;
/** Misplacement that is left, px, and what the blur's variance differs by from frame to frame, px² / 2. */
const MISPLACED = 0.2;
const BLURRED = 0.25;
/** What the light's model leaves, relative. */
const MODEL_SPREAD = 0.002;
/** Residuals far beyond this are of other things than the sensor. */
const ASTRAY = 0.03;
/** Here the ground is known from borders of frames. */
const EDGE_PX = 8;
