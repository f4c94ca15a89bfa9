import { mkdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { scanCapture } from '../src/capture/scan.js';
import { applyX, applyY, IDENTITY } from '../src/compute/affine.js';
import { runJob } from '../src/job/context.js';
import { intrudes } from '../src/photometry/transient-stage.js';
import { type MadeStrips, type MeasuredCapture, makeStrips, measureCapture } from '../src/plate/make-plate.js';
import type { Intruder } from '../src/rehearsal/intruders.js';
import { rehearse } from '../src/rehearsal/rehearse.js';
import type { RehearsalSettings } from '../src/rehearsal/settings.js';
import { readStrip } from '../src/strip/strip-store.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();

const NIGHT: Partial<RehearsalSettings> = {
  ...{ seed: 52, bits: 16, passes: 1, framesPerPass: 20, dust: 0, hotPixels: 0 },
  ...{ frameWidthPx: 720, frameHeightPx: 480, discDiameterPx: 560 },
};

async function make<T>(
  name: string,
  settings: Partial<RehearsalSettings>,
  use: (made: MeasuredCapture & MadeStrips) => T,
): Promise<T> {
  await rehearse(scratch(name), settings);
  const capture = await scanCapture(join(scratch(name), 'capture'));
  const workDir = scratch(`${name} work`);
  await mkdir(workDir, { recursive: true });
  return runJob({ workDir }, async (context) => {
    const measured = await measureCapture(context, capture);
    return use({ ...measured, ...(await makeStrips(context, measured, IDENTITY)) });
  });
}

async function intrudersOf(name: string): Promise<Intruder[]> {
  const truth = JSON.parse(await readFile(join(scratch(name), 'truth.json'), 'utf8')) as {
    intruders: Record<string, Intruder[]>;
  };
  return Object.values(truth.intruders).flat();
}

describe('what passes through single frames', () => {
  // Some five times the noise of a recorded pixel.
  const level = 0.012;

  test('is found where it is, and leaves nothing in the strip', async () => {
    const clean = await make('clean', NIGHT, ({ strips, intrusions, placed }) => {
      const flagged = intrusions[0]!.reduce((sum, i) => sum + i.pixels, 0);
      const all = placed[0]!.tracked.frames.reduce((sum, f) => sum + f.proxy.width * f.proxy.height, 0);
      // Nothing to be found: fewer than one pixel in 100 000.
      expect(flagged / all).toBeLessThan(1e-5);
      return { box: strips[0]!.strip.box, ...readStrip(strips[0]!.strip, strips[0]!.strip.box) };
    });
    await make(
      'crossed',
      { ...NIGHT, trails: 2, trailLevel: level, birds: 1 },
      async ({ strips, intrusions, placed }) => {
        const intruders = await intrudersOf('crossed');
        const { frames } = placed[0]!.tracked;
        const { strip, poses } = strips[0]!;
        const { box } = strip;
        expect(box).toEqual(clean.box);
        const green = readStrip(strip, box).planes[1]!;
        let [found, looked, left] = [0, 0, 0];
        for (const trail of intruders) {
          if (trail.kind !== 'trail') continue;
          const k = frames.findIndex((f) => f.index === trail.frame);
          const isSeen = intrudes(intrusions[0]![k]!);
          const angle = (trail.angleDeg * Math.PI) / 180;
          for (let along = -300; along <= 300; along += 5) {
            const [x, y] = [trail.x + along * Math.cos(angle), trail.y + along * Math.sin(angle)];
            if (x < 20 || y < 20 || x > 700 || y > 460) continue;
            looked++;
            const { pose } = frames[k]!;
            if (isSeen(applyX(pose, x, y), applyY(pose, x, y), 6)) found++;
            const [u, v] = [applyX(poses[k]!, x, y) - box.x0, applyY(poses[k]!, x, y) - box.y0].map(Math.round);
            left += green[v! * box.width + u!]! - clean.planes[1]![v! * box.width + u!]!;
          }
        }
        expect(looked).toBeGreaterThan(100);
        expect(found / looked).toBeGreaterThan(0.95);
        // The same frames with the same noise but for the intruders: what is left of them is the difference. Left in, a
        // trail would leave 0.012 / 20 on a noise of some 0.0015.
        const noise = Math.min(...frames.map((f) => f.grade.noise));
        expect(level / 20).toBeGreaterThan(0.3 * noise);
        expect(Math.abs(left / looked)).toBeLessThan(0.05 * noise);
      },
    );
  });
});
