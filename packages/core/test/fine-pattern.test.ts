import { mkdir } from 'node:fs/promises';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { readStill } from '../src/capture/read-still.js';
import { scanCapture } from '../src/capture/scan.js';
import { runJob } from '../src/job/context.js';
import { patternAt } from '../src/photometry/pattern.js';
import { type MeasuredCapture, measureCapture } from '../src/plate/make-plate.js';
import { rehearse } from '../src/rehearsal/rehearse.js';
import type { RehearsalSettings } from '../src/rehearsal/settings.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();

const NIGHT: Partial<RehearsalSettings> = { seed: 41, bits: 16, dust: 12 };

async function make(name: string, settings: Partial<RehearsalSettings>): Promise<MeasuredCapture> {
  const dir = scratch(name);
  await rehearse(dir, settings);
  const capture = await scanCapture(join(dir, 'capture'));
  const workDir = scratch(`${name} work`);
  await mkdir(workDir, { recursive: true });
  return runJob({ workDir }, (context) => measureCapture(context, capture));
}

/** flat.png, natural log. */
async function flatOf(name: string): Promise<Float32Array> {
  const { image } = await readStill(join(scratch(name), 'flat.png'), { curve: 'linear' });
  return image.planes[0]!.map(Math.log);
}

describe('a sensor with dust', () => {
  let made: MeasuredCapture;
  let clean: MeasuredCapture;
  beforeAll(async () => {
    made = await make('dust', NIGHT);
    // The same sensor without its dust: its flat field is all that is asked of it, whatever it shows.
    await rehearse(scratch('bare'), { ...NIGHT, discDiameterPx: 150, passes: 1, dust: 0, framesPerPass: 1 });
    const small = { discDiameterPx: 640, frameWidthPx: 576, frameHeightPx: 384, passes: 2 };
    clean = await make('clean', { ...NIGHT, ...small, dust: 0 });
  });

  test('loses its shadows', async () => {
    const { plane, figures } = made.fine;
    const { width, height } = plane!;
    const dusty = await flatOf('dust');
    const bare = await flatOf('bare');
    const reach = Math.hypot(width, height);
    const [before, after] = [[] as number[], [] as number[]];
    for (let i = 0; i < dusty.length; i++) {
      if (bare[i]! - dusty[i]! < 0.001) continue;
      const x = (2 * ((i % width) + 0.5) - width) / reach;
      const y = (2 * (Math.floor(i / width) + 0.5) - height) / reach;
      const off = Math.log(patternAt(made.light.pattern, x, y)) - dusty[i]!;
      before.push(off);
      after.push(off + plane!.data[i]!);
    }
    expect(before.length).toBeGreaterThan(0.02 * dusty.length);
    // The smooth pattern's own error of 0.1 % is in both.
    expect(spread(after)).toBeLessThan(spread(before) / 5);
    expect(figures.measured).toBe(true);
    // The deepest shadow drawn takes 3.5 % of the light.
    expect(figures.deepest).toBeGreaterThan(0.025);
    expect(figures.deepest).toBeLessThan(0.045);
  });

  test('and one without gets none', () => {
    expect(clean.fine.figures.measured).toBe(true);
    expect(clean.fine.figures.rms).toBeLessThan(0.0005);
  });
});

test('a pass that hardly drifts says so and corrects nothing', async () => {
  const made = await make('short', {
    seed: 6,
    discDiameterPx: 300,
    frameWidthPx: 400,
    frameHeightPx: 320,
    framesPerPass: 3,
  });
  expect(made.fine).toEqual({ plane: undefined, hash: '', figures: { measured: false, rms: 0, deepest: 0 } });
});

function spread(values: readonly number[]): number {
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length);
}
