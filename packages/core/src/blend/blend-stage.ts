import { createFloats, type LinearImage, type Plane } from '../compute/image.js';
import { defineTask, type Task } from '../compute/task.js';
import type { JobContext } from '../job/context.js';
import { readFloats, writeFloats } from '../job/floats.js';
import { runStage } from '../job/stage.js';
import type { StripSums } from '../strip/accumulate.js';
import { blendStrips } from './blend.js';

/** The joined strips, before anything is encoded. */
export interface BlendedPlate {
  readonly image: LinearImage;
  /** 1 where there is light, 0 elsewhere. */
  readonly coverage: Plane;
  /** Index of the strip that each pixel belongs to; NOBODY where there is none. */
  readonly owner: Uint8Array;
  /** Pyramid levels over which the strips were joined. */
  readonly levels: number;
  /** Place of the plate's first pixel in the space that the strips were stacked in. */
  readonly x0: number;
  readonly y0: number;
}

/** Input of {@link blendTask}: strips by their place on the plate, and shared memory for what comes of them. */
export interface BlendInput {
  readonly strips: readonly StripSums[];
  readonly width: number;
  readonly height: number;
  readonly planes: readonly Float32Array[];
  readonly coverage: Float32Array;
  /** The owner of each pixel, as a number. */
  readonly owner: Float32Array;
}

/** Blends in a worker, so that the main thread goes on answering. Gives the number of levels. */
export const blendTask: Task<BlendInput, number> = defineTask('blend/blend');

export function runBlend(input: BlendInput): number {
  const strips = input.strips.map((s) => ({
    x0: s.x0,
    y0: s.y0,
    image: { width: s.width, height: s.height, planes: s.planes },
    weight: { width: s.width, height: s.height, data: s.weight },
  }));
  const blended = blendStrips(strips, input.width, input.height);
  input.planes.forEach((plane, c) => {
    plane.set(blended.image.planes[c]!);
  });
  input.coverage.set(blended.coverage.data);
  input.owner.set(blended.owner);
  return blended.levels;
}

/** Stage: joins the strips to the plate. `key` names what the strips were made from. */
export async function blendStage(
  context: JobContext,
  strips: readonly StripSums[],
  key: unknown,
): Promise<BlendedPlate> {
  const x0 = Math.min(...strips.map((s) => s.x0));
  const y0 = Math.min(...strips.map((s) => s.y0));
  const width = Math.max(...strips.map((s) => s.x0 + s.width)) - x0;
  const height = Math.max(...strips.map((s) => s.y0 + s.height)) - y0;
  const size = width * height;
  const planes = strips[0]!.planes.map(() => createFloats(size, true));
  const coverage = createFloats(size, true);
  const owner = createFloats(size, true);
  const artefact = await runStage(context, {
    name: 'blend',
    key,
    needBytes: size * 4 * (planes.length + 2),
    run: async (handle) => {
      const onPlate = strips.map((s) => ({ ...s, x0: s.x0 - x0, y0: s.y0 - y0 }));
      const input = { strips: onPlate, width, height, planes, coverage, owner };
      const levels = await context.pool.run(blendTask, input, { signal: context.signal });
      await writeFloats(handle.path('plate.f32'), [...planes, coverage, owner]);
      return { levels };
    },
  });
  if (artefact.resumed) await readFloats(artefact.path('plate.f32'), [...planes, coverage, owner]);
  return {
    image: { width, height, planes },
    coverage: { width, height, data: coverage },
    owner: Uint8Array.from(owner),
    levels: artefact.result.levels,
    x0,
    y0,
  };
}
