import { afterEach, describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { createSceneField, renderFrame } from '../../test/scene-field.js';
import { useScratch } from '../../test/scratch.js';
import { type Affine, compose, poseAbout, translation } from '../compute/affine.js';
import { createWorkerPool, type WorkerPool } from '../compute/pool.js';
import { boxOf, type StackFrame, stackFrames } from './stack.js';
import { readStrip, type StripWindow } from './strip-store.js';

const WIDTH = 220;
const HEIGHT = 240;
const scene = createSceneField({ seed: 'stack', widthPx: 460, heightPx: 360, sigmaPx: [2, 5] });

const open: WorkerPool[] = [];
const poolOf = (workers: number): WorkerPool => {
  const pool = createWorkerPool({ workers });
  open.push(pool);
  return pool;
};
afterEach(async () => {
  await Promise.all(open.splice(0).map((pool) => pool.close()));
});

/** Scene px -> plate px: the plate begins at a place of its own. */
const toPlate = translation(-300.5, 77.25);

function frameOf(k: number, noise = 0): StackFrame {
  const pose = poseAbout({ x: 110, y: 120 }, { shiftX: 30 + 37.3 * k, shiftY: 40 - 5.7 * k, rotationDeg: 0.3 * k });
  const plane = renderFrame(scene, pose, WIDTH, HEIGHT, { noise, seed: `frame ${k}` });
  return {
    width: WIDTH,
    height: HEIGHT,
    pose: compose(toPlate, pose),
    weight: 0.5 + 0.1 * k,
    load: async (planes) => {
      planes.forEach((target, c) => {
        target.set(plane.data.map((v) => v / (c + 1)));
      });
    },
  };
}

const scratch = useScratch();

/** Stacks and reads the whole strip back. */
async function stack(
  stacked: readonly StackFrame[],
  {
    channels = 1,
    workers = 2,
    memoryBytes = 2 ** 28,
    ...rest
  }: Partial<Parameters<typeof stackFrames>[1]> & { workers?: number } = {},
): Promise<StripWindow> {
  const box = boxOf(stacked);
  const settings = {
    path: scratch('strip.f32'),
    box,
    channels,
    memoryBytes,
    pool: poolOf(workers),
    ...rest,
  };
  return readStrip(await stackFrames(stacked, settings), box);
}

const frames = [0, 1, 2, 3, 4].map((k) => frameOf(k, 0.01));

describe('stackFrames', () => {
  it('gives the same bits for any number of workers', async () => {
    const box = boxOf(frames);
    const one = await stack(frames, { channels: 2, workers: 1 });
    expect(box.height).toBeGreaterThan(2 * 96);
    for (const workers of [2, 3]) {
      const more = await stack(frames, { channels: 2, workers });
      expectSamples(more.weight, one.weight);
      more.planes.forEach((plane, c) => {
        expectSamples(plane, one.planes[c]!);
      });
    }
  });

  it('gives the same bits when most of the strip waits on disk', async () => {
    // Five frames side by side on a strip of 1300 px, back and forth, so that parts leave and come back.
    const order = [0, 3, 1, 4, 2, 0];
    const wide = order.map((k, i) => {
      const frame = frameOf(k, 0.01);
      return { ...frame, pose: compose(translation(230 * k - 37.3 * k, 0), frame.pose), weight: 0.3 + 0.1 * i };
    });
    expect(boxOf(wide).width).toBeGreaterThan(2 * 512);
    const inMemory = await stack(wide, { channels: 2 });
    const onDisk = await stack(wide, { channels: 2, memoryBytes: 0 });
    expectSamples(onDisk.weight, inMemory.weight);
    for (const [c, plane] of onDisk.planes.entries()) expectSamples(plane, inMemory.planes[c]!);
  });

  it('shows the ground where it is, on the plate, and 0 where it has no weight', async () => {
    const clean = [0, 1, 2, 3, 4].map((k) => frameOf(k));
    const box = boxOf(clean);
    const { planes, weight } = await stack(clean, { channels: 2 });
    let covered = 0;
    for (let i = 0; i < weight.length; i++) {
      if (weight[i] === 0) {
        expect(planes[0]![i]).toBe(0);
        continue;
      }
      covered++;
      const x = box.x0 + (i % box.width) - toPlate.tx;
      const y = box.y0 + Math.floor(i / box.width) - toPlate.ty;
      // Lanczos on blobs of σ ≥ 2 px; see the test of accumulation. Measured 4.2e-3.
      expect(Math.abs(planes[0]![i]! - scene.at(x, y))).toBeLessThan(6e-3);
      expect(Math.abs(planes[1]![i]! - planes[0]![i]! / 2)).toBeLessThan(1e-6);
    }
    expect(covered).toBeGreaterThan(0.7 * weight.length);
  });

  it('averages by weight, so that noise falls and a frame of weight 0 does not count', async () => {
    const at = (k: number, weight: number): StackFrame => ({
      ...frameOf(0),
      weight,
      load: async ([plane]) => void plane!.fill(k),
    });
    const mix = [at(1, 1), at(4, 0.5), at(100, 0)];
    const { planes, weight } = await stack(mix);
    const middle = 130 * boxOf(mix).width + 110;
    expect(weight[middle]).toBeCloseTo(1.5, 6);
    // (1 · 1 + 0.5 · 4) / 1.5.
    expect(planes[0]![middle]).toBeCloseTo(2, 6);
  });

  it('tells how far it is, and stops when told', async () => {
    const done: number[] = [];
    await stack(frames, { onDone: (n) => done.push(n) });
    expect(done).toEqual([1, 2, 3, 4, 5]);
    const abort = new AbortController();
    const stopping = stack(frames, { signal: abort.signal, onDone: () => abort.abort() });
    await expect(stopping).rejects.toMatchObject({ code: 'INTERRUPTED' });
  });

  it('passes on that a frame could not be read, and lets no failure go unhandled', async () => {
    const broken = (k: number): readonly StackFrame[] =>
      frames.map((frame, i) =>
        i === k ? { ...frame, load: () => Promise.reject(new Error(`frame ${k} is gone`)) } : frame,
      );
    // The second frame fails at once, while the first is still being added: vitest fails on a rejection left unhandled.
    for (const k of [0, 1, 4]) await expect(stack(broken(k), { workers: 1 })).rejects.toThrow(`frame ${k} is gone`);
  });
});

describe('boxOf', () => {
  it('holds every pixel centre of every frame, in whole pixels', () => {
    const at = (pose: Affine) => ({ width: 10, height: 5, pose });
    expect(boxOf([at(translation(0, 0))])).toEqual({ x0: 0, y0: 0, width: 10, height: 5 });
    expect(boxOf([at(translation(-3.5, 2.25)), at(translation(4, -1))])).toEqual({
      x0: -4,
      y0: -1,
      width: 18,
      height: 9,
    });
  });
});
