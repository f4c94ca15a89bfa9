import { afterAll, describe, expect, it } from 'vitest';
import { createSceneField, poseDistancePx, renderFrame } from '../../test/scene-field.js';
import { type Affine, compose, invert, poseAbout } from '../compute/affine.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createWorkerPool } from '../compute/pool.js';
import { createRandom } from '../compute/random.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
import { believable, LEAST_CORRELATION, LEAST_SIGNIFICANCE } from './lock-frames.js';
import { measurePass, type Track, trackPass } from './track.js';

const WIDTH = 232;
const HEIGHT = 216;
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'track', widthPx: 700, heightPx: 360 });
const pool = createWorkerPool({ workers: 2 });
afterAll(() => pool.close());

const COUNT = 12;
/** Frame px -> scene px: drift, field rotation, and the air's tilt. */
const truth: readonly Affine[] = ((random) =>
  Array.from({ length: COUNT }, (_, k) => {
    const shiftX = 420 - 33.4 * k + 0.8 * random.normal();
    const shiftY = 80 + 2.2 * k + 0.8 * random.normal();
    return poseAbout(centre, { shiftX, shiftY, rotationDeg: 0.02 * k });
  }))(createRandom('tilt'));

function frameOf(index: number, light: Plane) {
  const detail = createPlane(WIDTH, HEIGHT, true);
  detail.data.set(bandPass(light, BAND_PASS_DEFAULTS).data);
  return { index, item: `pass/${String(index).padStart(4, '0')}.png`, light, detail };
}

const good = truth.map((pose, k) =>
  frameOf(k, renderFrame(scene, pose, WIDTH, HEIGHT, { noise: 0.004, seed: `${k}`, shared: true })),
);

function noiseFrame(index: number) {
  const random = createRandom(`ruin ${index}`);
  const light = createPlane(WIDTH, HEIGHT, true);
  light.data.forEach((_, i) => {
    light.data[i] = 0.25 + 0.05 * random.normal();
  });
  return frameOf(index, light);
}

/** Farthest that a frame lies from its true place against the first frame of the track. */
function worst(track: Track): number {
  const [first] = track.poses.keys();
  return Math.max(
    ...[...track.poses].map(([index, pose]) => {
      const found = compose(invert(track.poses.get(first!)!), pose);
      return poseDistancePx(found, compose(invert(truth[first!]!), truth[index]!), WIDTH, HEIGHT);
    }),
  );
}

const items = (track: Track): string[] => track.leftOut.map((loss) => loss.item);

describe('trackPass', () => {
  it('finds how the frames of a pass lie on each other', async () => {
    const track = await trackPass(good, pool);
    expect([...track.poses.keys()]).toEqual(truth.map((_, k) => k));
    expect(track.leftOut).toEqual([]);
    // Frames are small, so that the band-pass errs at their edges, over a chain of 11. Measured 0.25 at the corners.
    expect(worst(track)).toBeLessThan(0.5);
    // Chance alone: 0.004 of noise on light of 0.25. The corners of the pass would move by 0.4 px for 0.01°.
    expect(Math.abs(track.rotationDegPerFrame - 0.02)).toBeLessThan(0.01);
    expect(track.tiltPx).toBeGreaterThan(0.3);
    expect(track.tiltPx).toBeLessThan(1.6);
  });

  it('leaves out frames that are ruined, and is right about the others', async () => {
    const black = frameOf(7, createPlane(WIDTH, HEIGHT, true));
    const frames = good.map((frame, k) => (k === 3 || k === 11 ? noiseFrame(k) : k === 7 ? black : frame));
    const track = await trackPass(frames, pool);
    expect(items(track)).toEqual(['pass/0003.png', 'pass/0007.png', 'pass/0011.png']);
    for (const loss of track.leftOut) {
      expect(loss.reason).toBe('empty');
      expect(loss.detail).toMatch(/nothing stands out/);
    }
    expect([...track.poses.keys()]).toEqual([0, 1, 2, 4, 5, 6, 8, 9, 10]);
    expect(worst(track)).toBeLessThan(0.5);
  });

  it("does not take the sensor's own pattern for ground that stands still", async () => {
    // Hot pixels on every frame; the first two frames show nothing else, so that they lock to each other at no shift.
    const dots = createRandom('dots');
    const hot = Array.from({ length: 60 }, () => Math.floor(dots.uniform() * WIDTH * HEIGHT));
    const frames = good.map((frame, k) => {
      const empty = createRandom(`sky ${k}`);
      const light = createPlane(WIDTH, HEIGHT, true);
      light.data.forEach((_, i) => {
        light.data[i] = k < 2 ? 0.02 + 0.001 * empty.normal() : frame.light.data[i]!;
      });
      for (const i of hot) light.data[i]! += 0.1;
      return frameOf(k, light);
    });
    const track = await trackPass(frames, pool);
    expect(items(track)).toEqual(['pass/0000.png', 'pass/0001.png']);
    expect(worst(track)).toBeLessThan(0.6);
  });

  it('does not add up the steps of the coarse lock along many small drifts', async () => {
    // 520 px wide frames are locked at a third of their size: each lock is up to 1.5 px off, all in the same direction.
    const size = { width: 520, height: 300 };
    const wide = createSceneField({ seed: 'many', widthPx: 900, heightPx: 420 });
    const poses = Array.from({ length: 20 }, (_, k) =>
      poseAbout({ x: 259.5, y: 149.5 }, { shiftX: 330 - 16.3 * k, shiftY: 50 }),
    );
    const frames = poses.map((pose, k) => {
      const light = renderFrame(wide, pose, size.width, size.height, { noise: 0.004, seed: `m${k}`, shared: true });
      const detail = createPlane(size.width, size.height, true);
      detail.data.set(bandPass(light, BAND_PASS_DEFAULTS).data);
      return { index: k, item: `pass/${k}.png`, light, detail };
    });
    const track = await trackPass(frames, pool);
    expect(track.leftOut).toEqual([]);
    const found = compose(invert(track.poses.get(0)!), track.poses.get(19)!);
    const wanted = compose(invert(poses[0]!), poses[19]!);
    // Noise alone; the coarse steps would have summed up to 25 px.
    expect(poseDistancePx(found, wanted, size.width, size.height)).toBeLessThan(0.15);
    for (const residual of track.residualPx.values()) expect(residual).toBeLessThan(0.2);
  });

  it('keeps the longer part when a pass falls apart', async () => {
    // 34 px of a frame's width are common to both sides of the hole: less than a patch.
    const frames = good.map((frame, k) => (k > 4 && k < 10 ? noiseFrame(k) : frame));
    const track = await trackPass(frames, pool);
    expect([...track.poses.keys()]).toEqual([0, 1, 2, 3, 4]);
    expect(items(track)).toEqual([5, 6, 7, 8, 9, 10, 11].map((k) => `pass/${String(k).padStart(4, '0')}.png`));
  });

  it('goes on across a hole where the path expects common ground, though no two frames hold it together', async () => {
    const frames = good.map((frame, k) => (k > 6 && k < 10 ? noiseFrame(k) : frame));
    const track = await trackPass(frames, pool);
    expect([...track.poses.keys()]).toEqual([0, 1, 2, 3, 4, 5, 6, 10, 11]);
    // Three patches hold the far side. Measured 0.06 at the corners.
    expect(worst(track)).toBeLessThan(0.3);
  });

  it('uses a pass of a single frame, and of two', async () => {
    const alone = await trackPass(good.slice(4, 5), pool);
    expect([...alone.poses.keys()]).toEqual([4]);
    expect(
      poseDistancePx(alone.poses.get(4)!, poseAbout(centre, { shiftX: 0, shiftY: 0 }), WIDTH, HEIGHT),
    ).toBeLessThan(1e-6);
    const two = await trackPass(good.slice(4, 6), pool);
    expect([...two.poses.keys()]).toEqual([4, 5]);
    expect(worst(two)).toBeLessThan(0.3);
  });

  it('keeps one frame when those that lock cannot be measured', async () => {
    // Two frames whose common ground holds fewer patches than a pair needs.
    const far = [0, 5].map((k) => good[k]!);
    const track = await trackPass(far, pool);
    expect(track.poses.size + track.leftOut.length).toBe(2);
    expect(track.poses.size).toBe(1);
    expect(track.leftOut[0]!.detail).toMatch(/too little detail/);
    for (const pose of track.poses.values()) expect(Number.isFinite(pose.tx + pose.ty + pose.xx)).toBe(true);
  });
});

describe('measurePass', () => {
  it('finds the same whatever the number of workers', async () => {
    const single = createWorkerPool({ workers: 1 });
    const found = await Promise.all([pool, single].map((workers) => measurePass(good.slice(0, 6), workers)));
    await single.close();
    expect(found[0]).toEqual(found[1]);
  });
});

describe('believable', () => {
  const candidate = { pose: poseAbout(centre, { shiftX: 0, shiftY: 0 }), overlap: 1 };

  it('asks for both significance and correlation', () => {
    const [significance, correlation] = [LEAST_SIGNIFICANCE, LEAST_CORRELATION];
    expect(believable({ ...candidate, significance, correlation })).toBe(true);
    expect(believable({ ...candidate, significance: significance - 0.01, correlation: 1 })).toBe(false);
    expect(believable({ ...candidate, significance: 99, correlation: correlation - 0.01 })).toBe(false);
  });
});
