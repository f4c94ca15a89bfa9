import { afterAll, describe, expect, it } from 'vitest';
import { createSceneField, renderFrame } from '../../test/scene-field.js';
import { poseAbout } from '../compute/affine.js';
import { createPlane } from '../compute/image.js';
import { createWorkerPool } from '../compute/pool.js';
import { createRandom } from '../compute/random.js';
import { findViews } from './find-views.js';
import type { LinkFrame } from './lock-frames.js';

const [WIDTH, HEIGHT] = [232, 180];
const centre = { x: (WIDTH - 1) / 2, y: (HEIGHT - 1) / 2 };
const scene = createSceneField({ seed: 'views', widthPx: 900, heightPx: 700 });
const pool = createWorkerPool({ workers: 2 });
afterAll(() => pool.close());

/** Where a frame looks at the scene. */
interface Look {
  readonly x: number;
  readonly y: number;
  readonly turnDeg?: number;
}

/** A drift from a place, with the air's tilt. */
function drift(from: Look, count: number, stepX = -21, stepY = 1.5): Look[] {
  const random = createRandom(`${from.x} ${from.y} ${stepX}`);
  return Array.from({ length: count }, (_, k) => ({
    x: from.x + stepX * k + 0.8 * random.normal(),
    y: from.y + stepY * k + 0.8 * random.normal(),
    ...(from.turnDeg && { turnDeg: from.turnDeg }),
  }));
}

function frames(looks: readonly Look[], ruined: readonly number[] = []): LinkFrame[] {
  return looks.map(({ x, y, turnDeg = 0 }, index) => {
    const light = createPlane(WIDTH, HEIGHT, true);
    if (ruined.includes(index)) {
      const random = createRandom(`ruin ${index}`);
      light.data.forEach((_, i) => {
        light.data[i] = 0.25 + 0.05 * random.normal();
      });
      return { index, light };
    }
    const pose = poseAbout(centre, { shiftX: x, shiftY: y, rotationDeg: turnDeg });
    return { index, light: renderFrame(scene, pose, WIDTH, HEIGHT, { noise: 0.004, seed: `${index}`, shared: true }) };
  });
}

const low = { x: 520, y: 380 };
const high = { x: 520, y: 270 };

/** Where views after the first begin. */
async function startsIn(list: readonly LinkFrame[], continuous = false): Promise<number[]> {
  const views = await findViews(list, pool, { continuous });
  return views.slice(1).map(({ first }) => first);
}

/** A camera on its way, slowly: each step is far shorter than what counts as a jump. */
function slew(from: Look, to: Look, count: number): Look[] {
  const share = (k: number): number => (k + 1) / (count + 1);
  return Array.from({ length: count }, (_, k) => ({
    x: from.x + (to.x - from.x) * share(k),
    y: from.y + (to.y - from.y) * share(k),
  }));
}

describe('findViews', () => {
  it('finds where a second pass begins on ground that both show', async () => {
    expect(await startsIn(frames([...drift(low, 9), ...drift(high, 8)]))).toEqual([9]);
  });

  it('finds a view that has nothing in common with the one before', async () => {
    expect(await startsIn(frames([...drift(low, 6), ...drift({ x: 560, y: 20 }, 7)]))).toEqual([6]);
  });

  it('finds a camera that was turned, and so drifts another way', async () => {
    const turned = drift({ x: 400, y: 240, turnDeg: 24 }, 7, -19, -8);
    expect(await startsIn(frames([...drift(low, 7), ...turned]))).toEqual([7]);
  });

  it('finds where the body was let drift through the same place again', async () => {
    expect(await startsIn(frames([...drift(low, 8), ...drift({ x: 515, y: 382 }, 8)]))).toEqual([8]);
  });

  it('finds three views, the way between them blurred and black', async () => {
    const looks = [...drift(low, 7), ...drift(high, 2), ...drift(high, 7), ...drift({ x: 540, y: 160 }, 7)];
    expect(await startsIn(frames(looks, [7, 8]))).toEqual([9, 16]);
  });

  it('finds two views of a clip, and the slow way between them', async () => {
    const [one, two] = [drift(low, 20, -1.5, 0.1), drift(high, 24, -1.5, 0.1)];
    const looks = [...one, ...slew(one.at(-1)!, high, 28), ...two];
    const [first, second, ...more] = await findViews(frames(looks), pool, { continuous: true });
    expect(more).toEqual([]);
    expect(first!.first).toBe(0);
    expect(first!.last).toBeGreaterThan(14);
    expect(first!.last).toBeLessThan(22);
    expect(second!.first).toBeGreaterThan(45);
    expect(second!.first).toBeLessThan(53);
    expect(second!.last).toBe(71);
  });

  it('leaves a clip whole whose camera is nudged slowly and comes back', async () => {
    const one = drift(low, 24, -1.5, 0.1);
    const away = { x: one.at(-1)!.x - 15, y: low.y - 40 };
    const back = { x: one.at(-1)!.x - 29, y: low.y + 3 };
    const looks = [...one, ...slew(one.at(-1)!, away, 9), ...slew(away, back, 9), ...drift(back, 20, -1.5, 0.1)];
    expect(await startsIn(frames(looks), true)).toEqual([]);
  });

  it('keeps the last stills of a view although one before them is missing', async () => {
    const low9 = drift(low, 10).filter((_, i) => i !== 7);
    const views = await findViews(frames([...low9, ...drift(high, 8)]), pool, { continuous: false });
    expect(views).toEqual([
      { first: 0, last: 8 },
      { first: 9, last: 16 },
    ]);
  });

  it('leaves a pass whole that has ruined frames, a passing cloud, lost frames and nudges', async () => {
    const whole = drift({ x: 640, y: 300 }, 26);
    const nudged = whole.map((look, i) => (i >= 20 ? { ...look, y: look.y + 9 } : look));
    const looks = nudged.filter((_, i) => i !== 4 && i !== 5 && i !== 6);
    expect(await startsIn(frames(looks, [2, 8, 9, 10, 15]))).toEqual([]);
  });

  it('leaves a pass whole that hardly moves', async () => {
    expect(await startsIn(frames(drift(low, 8, 0.2, 0)))).toEqual([]);
  });

  it('says nothing of frames that show nothing, and of too few', async () => {
    const looks = drift(low, 8);
    const all = looks.map((_, i) => i);
    expect(await startsIn(frames(looks, all))).toEqual([]);
    expect(await startsIn(frames(drift(low, 2)))).toEqual([]);
    expect(await startsIn([])).toEqual([]);
  });
});
