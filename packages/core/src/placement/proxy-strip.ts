import { rm } from 'node:fs/promises';
import { type Affine, compose, translation } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { planeRows } from '../compute/plane-source.js';
import type { JobContext } from '../job/context.js';
import type { Masked } from '../registration/lock.js';
import { bendOnPlate } from '../registration/seeing-field.js';
import type { SeenPass } from '../registration/seeing-stage.js';
import { boxOf, stackFrames } from '../strip/stack.js';
import { readStrip } from '../strip/strip-store.js';
import { type Heading, headingOf } from './heading.js';

/** A pass as one small grey picture. */
export interface ProxyStrip {
  readonly masked: Masked;
  /** The track's space -> the strip's grid. */
  readonly toStrip: Affine;
  /** Which way the frames went over the strip, where they tell. */
  readonly way: Heading | undefined;
}

/** Stacks the luminance of a pass at proxy scale. `scratch`: a file that is made and removed again. */
export async function proxyStrip(
  { pool, signal, memoryBytes }: JobContext,
  pass: SeenPass,
  scratch: string,
): Promise<ProxyStrip> {
  const frames = pass.frames.map((f) => ({
    width: f.proxy.width,
    height: f.proxy.height,
    pose: f.pose,
    weight: f.weight,
    bend: bendOnPlate(f.field, f.pose, f.proxy.width, f.proxy.height, 1),
    load: async (planes: readonly Float32Array[]) => planes[0]!.set(planeRows(f.proxy, 0, f.proxy.height)),
  }));
  const box = boxOf(frames);
  const strip = await stackFrames(frames, { path: scratch, box, channels: 1, memoryBytes, pool, signal });
  const { planes, weight } = readStrip(strip, box);
  await rm(scratch);
  const light = createPlane(box.width, box.height, true);
  light.data.set(planes[0]!);
  const coverage = createPlane(box.width, box.height, true);
  for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = weight[i]! > 0 ? 1 : 0;
  const toStrip = translation(-box.x0, -box.y0);
  const headed = pass.frames.map(({ pose, proxy }) => ({
    pose: compose(toStrip, pose),
    widthPx: proxy.width,
    heightPx: proxy.height,
  }));
  return { masked: { light, coverage }, toStrip, way: headingOf(headed) };
}
