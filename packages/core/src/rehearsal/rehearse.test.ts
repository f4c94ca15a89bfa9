import { createHash } from 'node:crypto';
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { InterruptedError } from '../job/errors.js';
import type { ProgressEvent } from '../job/progress.js';
import type { TruePose } from './poses.js';
import { type RehearsalSettings, rehearse } from './rehearse.js';

const small = { seed: 5, discDiameterPx: 300, frameWidthPx: 240, frameHeightPx: 180, framesPerPass: 4 } as const;

/** Everything that comes between the truth and the frame switched off, but for pose, flat, gain and sky. */
const bare: Partial<RehearsalSettings> = {
  ...small,
  seeing: { tiltPx: 1.5, warpPx: 0, blurPx: [0, 0], correlationFrames: 0, correlationShare: 0.2 },
  fullWellElectrons: 0,
  hotPixels: 0,
  bits: 16,
  format: 'tif',
};

let home: string;
beforeAll(async () => {
  home = await mkdtemp(join(tmpdir(), 'rehearsal-'));
});
afterAll(async () => {
  await rm(home, { recursive: true, force: true });
});

describe('rehearse', () => {
  it('gives the same bits for the same seed and others for another', async () => {
    await rehearse(join(home, 'a'), small);
    await rehearse(join(home, 'b'), small);
    await rehearse(join(home, 'c'), { ...small, seed: 6 });
    const [a, b, c] = await Promise.all(['a', 'b', 'c'].map((name) => hashes(join(home, name))));
    expect(a).toEqual(b);
    expect(Object.keys(a!)).toEqual(Object.keys(c!));
    const drawn = Object.keys(a!).filter((name) => !name.endsWith('capture.yaml'));
    for (const name of drawn) expect(a![name], name).not.toBe(c![name]);
    expect(drawn.filter((name) => name.startsWith('capture'))).toHaveLength(8);
  });

  it('keeps to the pose and the signal model exactly', async () => {
    const dir = join(home, 'bare');
    await rehearse(dir, bare);
    const truth = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
    const { poses, frame } = JSON.parse(await readFile(join(dir, 'poses.json'), 'utf8'));
    const scene = await deepPixels(join(dir, 'truth.png'));
    const flat = await deepPixels(join(dir, 'flat.png'));
    expect([flat.width, flat.height]).toEqual(frame);
    for (const [name, index] of [
      ['lower', 1],
      ['upper', 3],
    ] as const) {
      const pose: TruePose = poses[name][index];
      const picture = await deepPixels(join(dir, 'capture', name, `frame_000${index}.tif`));
      expect(picture.channels).toBe(3);
      let worst = 0;
      let lit = 0;
      for (let y = 0; y < picture.height; y++) {
        for (let x = 0; x < picture.width; x++) {
          const at = y * picture.width + x;
          const mean = [0, 1, 2].reduce((sum, c) => sum + linear(picture.data[3 * at + c]! / 65535), 0) / 3;
          const light = cubicAt(scene, ...toTruth(pose, truth, x, y, frame)) * 1.5;
          if (light > 0.1) lit++;
          const expected = (flat.data[at]! / 65535) * (pose.gain * light + pose.sky);
          worst = Math.max(worst, Math.abs(mean - expected));
        }
      }
      expect(lit).toBeGreaterThan(2000);
      // Half a level of the sensor, half a level of the file on the steepest part of the curve, half a level of the truth.
      expect(worst, name).toBeLessThan(4e-5);
    }
  });

  it('reports what it covers and what the air leaves, stage by stage', async () => {
    const events: ProgressEvent[] = [];
    const summary = await rehearse(join(home, 'told'), small, { onProgress: (event) => events.push(event) });
    expect(summary.coveredShare).toBe(1);
    expect(summary.frames).toBe(8);
    expect(summary.meanWarpRmsPx).toBeGreaterThan(0.1);
    expect(summary.meanWarpRmsPx).toBeLessThan(1);
    const truth = JSON.parse(await readFile(join(home, 'told', 'truth.json'), 'utf8'));
    expect(truth.mean_warp.rms_px).toBe(summary.meanWarpRmsPx);
    expect(events.filter((e) => e.kind === 'stage-start').map((e) => e.stage)).toEqual(['scene', 'frames']);
    expect(events.filter((e) => e.kind === 'stage-step' && e.stage === 'frames')).toHaveLength(8);
  });

  it('leaves a gap where a pass is omitted', async () => {
    const settings = { ...small, frameHeightPx: 130, passes: 3, omitPasses: [1] };
    const summary = await rehearse(join(home, 'gap'), settings);
    expect(summary.passes.map((p) => p.name)).toEqual(['lower', 'upper']);
    expect(summary.coveredShare).toBeLessThan(0.9);
    expect(await readdir(join(home, 'gap', 'capture'))).toEqual(['capture.yaml', 'lower', 'upper']);
    expect(await readFile(join(home, 'gap', 'capture', 'capture.yaml'), 'utf8')).toBe('synthetic: true\n');
  });

  it('replaces a rehearsal only when forced, and other folders never', async () => {
    const dir = join(home, 'twice');
    await rehearse(dir, small);
    await expect(rehearse(dir, small)).rejects.toMatchObject({
      code: 'OUTPUT_EXISTS',
      message: expect.stringContaining('twice'),
    });
    await rehearse(dir, { ...small, seed: 77 }, { force: true });
    expect(JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8')).seed).toBe(77);
    const foreign = await mkdtemp(join(home, 'foreign-'));
    await writeFile(join(foreign, 'letter.txt'), 'dear');
    await expect(rehearse(foreign, small, { force: true })).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
    expect(await readdir(foreign)).toEqual(['letter.txt']);
  });

  it('leaves nothing behind when it is interrupted', async () => {
    const parent = await mkdtemp(join(home, 'stop-'));
    const stop = new AbortController();
    const onProgress = (event: ProgressEvent): void => {
      if (event.kind === 'stage-step' && event.stage === 'frames' && event.done === 3) stop.abort();
    };
    await expect(rehearse(join(parent, 'night'), small, { signal: stop.signal, onProgress })).rejects.toBeInstanceOf(
      InterruptedError,
    );
    expect(await readdir(parent)).toEqual([]);
  });

  it('refuses settings that it cannot honour', async () => {
    await expect(rehearse(join(home, 'no'), { framesPerPass: 0 })).rejects.toMatchObject({
      code: 'USAGE',
      message: expect.stringMatching(/^framesPerPass is 0; give a whole number from 1 to 9999$/),
    });
  });
});

async function hashes(dir: string): Promise<Record<string, string>> {
  const names = (await readdir(dir, { recursive: true, withFileTypes: true })).filter((entry) => entry.isFile());
  const paths = names.map((entry) => join(entry.parentPath, entry.name)).sort();
  const out: Record<string, string> = {};
  for (const path of paths)
    out[path.slice(dir.length + 1)] = createHash('sha256')
      .update(await readFile(path))
      .digest('hex');
  return out;
}

interface Deep {
  readonly data: Uint16Array;
  readonly width: number;
  readonly height: number;
  readonly channels: number;
}

async function deepPixels(path: string): Promise<Deep> {
  const { channels: stored } = await sharp(path).metadata();
  const image = sharp(path).toColourspace(stored === 1 ? 'grey16' : 'rgb16');
  const { data, info } = await image.raw({ depth: 'ushort' }).toBuffer({ resolveWithObject: true });
  const words = new Uint16Array(data.buffer, data.byteOffset, data.byteLength / 2);
  return { data: words, width: info.width, height: info.height, channels: info.channels };
}

/** The words of truth.json's `frame_to_truth`, literally. */
function toTruth(
  pose: TruePose,
  truth: { os: number; capture_centre_px: [number, number] },
  column: number,
  row: number,
  frame: [number, number],
): [number, number] {
  const px = column - (frame[0] - 1) / 2;
  const py = row - (frame[1] - 1) / 2;
  const t = (pose.theta_deg * Math.PI) / 180;
  return [
    (px * Math.cos(t) - py * Math.sin(t) + pose.cx) * truth.os + truth.capture_centre_px[0],
    ((px * Math.sin(t) + py * Math.cos(t)) * pose.squeeze + pose.cy) * truth.os + truth.capture_centre_px[1],
  ];
}

/** Cubic convolution by its kernel's definition (a = -1/2), 0 to 1, black outside. */
function cubicAt(scene: Deep, x: number, y: number): number {
  const kernel = (d: number): number => {
    const s = Math.abs(d);
    if (s < 1) return 1.5 * s ** 3 - 2.5 * s ** 2 + 1;
    return s < 2 ? -0.5 * s ** 3 + 2.5 * s ** 2 - 4 * s + 2 : 0;
  };
  let sum = 0;
  for (let row = Math.floor(y) - 1; row <= Math.floor(y) + 2; row++) {
    for (let column = Math.floor(x) - 1; column <= Math.floor(x) + 2; column++) {
      if (row < 0 || column < 0 || row >= scene.height || column >= scene.width) continue;
      sum += kernel(x - column) * kernel(y - row) * (scene.data[row * scene.width + column]! / 65535);
    }
  }
  return Math.max(0, sum);
}

function linear(v: number): number {
  return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
}
