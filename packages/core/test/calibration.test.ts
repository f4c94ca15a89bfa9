import { mkdir } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { calibrationFor, calibrationStage } from '../src/capture/calibration-stage.js';
import { combine } from '../src/capture/calibration-task.js';
import { hashCapture } from '../src/capture/hash-capture.js';
import { openFrame } from '../src/capture/open-frame.js';
import type { Capture } from '../src/capture/pass.js';
import { pictures } from '../src/capture/picture-library.js';
import type { Calibration } from '../src/capture/reading.js';
import { scanCapture } from '../src/capture/scan.js';
import { createRandom } from '../src/compute/random.js';
import { runJob } from '../src/job/context.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
const [WIDTH, HEIGHT] = [80, 48];

/** A 16-bit picture of a function of place and channel, linear light. */
async function picture(path: string, light: (x: number, y: number, c: number) => number): Promise<void> {
  await mkdir(dirname(path), { recursive: true });
  const codes = new Uint16Array(3 * WIDTH * HEIGHT);
  for (let i = 0; i < codes.length; i++) {
    const p = Math.floor(i / 3);
    codes[i] = Math.max(0, Math.min(65535, Math.round(65535 * light(p % WIDTH, Math.floor(p / WIDTH), i % 3))));
  }
  const raw = { width: WIDTH, height: HEIGHT, channels: 3 } as const;
  await pictures(codes, { raw }).toColourspace('rgb16').png().toFile(path);
}

async function mastersOf(name: string): Promise<{ capture: Capture; calibration: Calibration | null }> {
  const capture = await scanCapture(scratch(name), { curve: 'linear' });
  const workDir = scratch(`${name} work`);
  await mkdir(workDir, { recursive: true });
  const calibration = await runJob({ workDir, workers: 2 }, async (context) => {
    const hashes = await hashCapture(context, capture);
    return calibrationFor(await calibrationStage(context, capture.calibration, hashes), capture.passes[0]!);
  });
  return { capture, calibration };
}

const darkAt = (x: number, y: number): number => 0.02 + 0.01 * ((x + y) % 2) + (x === 7 && y === 9 ? 0.5 : 0);
const flatAt = (x: number, y: number): number =>
  1 - 0.4 * ((x / WIDTH - 0.5) ** 2 + (y / HEIGHT - 0.5) ** 2) - (Math.hypot(x - 30, y - 20) < 4 ? 0.2 : 0);
const sceneAt = (x: number, y: number, c: number): number => 0.3 + 0.2 * Math.sin(x / 5) * Math.cos(y / 7) + 0.05 * c;

describe('calibration', () => {
  test('gives the scene back, whatever the lamp: dark subtracted, flat without its own dark divided by', async () => {
    const noise = createRandom('calibration');
    const at = (name: string): string => join(scratch('full'), name);
    await picture(at('pass/f.png'), (x, y, c) => darkAt(x, y) + flatAt(x, y) * sceneAt(x, y, c));
    for (let k = 0; k < 9; k++) {
      await picture(at(`dark/${k}.png`), (x, y) => darkAt(x, y) + 0.0005 * noise.normal());
      // A lamp that is warm, and dims from frame to frame.
      const lamp = (c: number): number => (0.8 - 0.04 * k) * [1, 0.8, 0.6][c]!;
      await picture(at(`flat/${k}.png`), (x, y, c) => darkAt(x, y) + lamp(c) * flatAt(x, y) + 0.0005 * noise.normal());
    }
    // A hit in one dark and a passer-by in one flat leave nothing.
    await picture(at('dark/5.png'), (x, y) => darkAt(x, y) + (x === 40 && y === 30 ? 0.6 : 0));
    await picture(at('flat/3.png'), (x, y) => (y > 20 && y < 26 ? 0.05 : darkAt(x, y) + 0.7 * flatAt(x, y)));
    const { capture, calibration } = await mastersOf('full');
    const { path } = capture.passes[0]!.frames[0]!;
    const { rows } = await openFrame({ path, encoding: capture.passes[0]!.encoding, calibration });
    const [first, last] = [11, 37];
    const planes = [0, 1, 2].map(() => new Float32Array(WIDTH * (last - first)));
    rows(first, planes);
    const ratios = planes.flatMap((plane, c) =>
      Array.from(plane, (light, i) => light / sceneAt(i % WIDTH, first + Math.floor(i / WIDTH), c)),
    );
    const level = ratios.reduce((sum, r) => sum + r, 0) / ratios.length;
    // The flat is 1 at the mean of its brightest regions, here a fifteenth of the frame, a part of the shadow in it.
    expect(Math.abs(level - 1)).toBeLessThan(0.02);
    // Noise of nine frames of each kind, 0.2 % of the darkest ground, four times over.
    const worst = Math.max(...ratios.map((r) => Math.abs(r / level - 1)));
    expect(worst).toBeLessThan(0.009);
  });

  test('of bias frames alone subtracts them; without any there is nothing to undo', async () => {
    await picture(join(scratch('bias'), 'pass/f.png'), () => 0.4);
    await picture(join(scratch('bias'), 'bias/b.png'), () => 0.1);
    const { capture, calibration } = await mastersOf('bias');
    const { path } = capture.passes[0]!.frames[0]!;
    const planes = [0, 1, 2].map(() => new Float32Array(WIDTH * HEIGHT));
    (await openFrame({ path, encoding: capture.passes[0]!.encoding, calibration })).rows(0, planes);
    expect(planes[1]![500]).toBeCloseTo(0.3, 4);
    await picture(join(scratch('none'), 'pass/f.png'), () => 0.4);
    expect((await mastersOf('none')).calibration).toBeNull();
  });

  test('clipping is told by what was recorded', async () => {
    const at = (name: string): string => join(scratch('clipped'), name);
    await picture(at('pass/f.png'), (x) => (x < 20 ? 1 : 0.5));
    await picture(at('flat/f.png'), (x) => (x < 40 ? 0.8 : 0.4));
    const { capture, calibration } = await mastersOf('clipped');
    const { path } = capture.passes[0]!.frames[0]!;
    const open = await openFrame({ path, encoding: capture.passes[0]!.encoding, calibration });
    const planes = [0, 1, 2].map(() => new Float32Array(WIDTH));
    open.rows(0, planes);
    expect([planes[0]![10], planes[0]![30], planes[0]![60]].map((v) => Math.round(100 * v!))).toEqual([100, 50, 100]);
    expect(open.clipped()).toBeCloseTo(0.25, 6);
    open.recorded.rows(0, planes);
    expect([planes[0]![10], planes[0]![60]].map((v) => Math.round(100 * v!))).toEqual([100, 50]);
  });
});

test('combining frames leaves out what one of them alone has, and averages the others', () => {
  const frames = [0.1, 0.12, 0.11, 0.9, 0.13].map((v) => Float32Array.of(v, 0.5));
  const out = new Float32Array(2);
  combine(frames, out);
  expect(out[0]).toBeCloseTo(0.115, 6);
  expect(out[1]).toBeCloseTo(0.5, 6);
  combine([Float32Array.of(0.3, 7)], out);
  expect([...out]).toEqual([Math.fround(0.3), 7]);
});
