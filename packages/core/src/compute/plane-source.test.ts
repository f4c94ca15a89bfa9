import { mkdtemp, rm, truncate } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createFloatsFile } from '../job/floats.js';
import { poseAbout } from './affine.js';
import { createPlane, type Plane } from './image.js';
import { withKernels } from './kernels.js';
import { accumulateWithKernels } from './kernels-accumulate.js';
import { planeRows, planesInFile, putPlane, type StoredPlane, storePlane, wholePlane } from './plane-source.js';
import { createRandom } from './random.js';

const [WIDTH, HEIGHT, COUNT] = [37, 29, 3];
const random = createRandom('planes');
const planes: readonly Plane[] = Array.from({ length: COUNT }, () => {
  const plane = createPlane(WIDTH, HEIGHT);
  plane.data.forEach((_, i) => {
    plane.data[i] = random.normal();
  });
  return plane;
});
let folder: string;
let stored: readonly StoredPlane[];

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'planes-'));
  const path = join(folder, 'planes.f32');
  await createFloatsFile(path, COUNT * WIDTH * HEIGHT);
  stored = planesInFile(path, COUNT, WIDTH, HEIGHT);
  for (const k of [2, 0, 1]) storePlane(stored[k]!, planes[k]!.data);
});

afterAll(() => rm(folder, { recursive: true }));

describe('a plane in a file', () => {
  test('is the plane that was stored, in whole, by rows, and in the memory of the kernels', () => {
    planes.forEach((plane, k) => {
      expect(wholePlane(stored[k]!)).toEqual(plane);
      expect(planeRows(stored[k]!, 3, 11)).toEqual(planeRows(plane, 3, 11));
      expect(planeRows(stored[k]!, 5, 5)).toHaveLength(0);
      expect(withKernels((scope) => scope.get(putPlane(scope, stored[k]!)))).toEqual(plane.data);
    });
  });

  test('adds to a strip what it adds from memory', () => {
    const add = (plane: Plane | StoredPlane) => {
      const floats = (): Float32Array => new Float32Array(60 * 60);
      const sums = { width: 60, height: 60, x0: -4, y0: -9, planes: [floats()], weight: floats() };
      accumulateWithKernels({
        sums,
        rows: [7, 41],
        frame: { width: WIDTH, height: HEIGHT, planes: [plane] },
        plateToFrame: poseAbout({ x: 18, y: 14 }, { shiftX: 2.3, shiftY: -1.7, rotationDeg: 4 }),
        frameWeight: 0.8,
        featherPx: 5,
      });
      return sums;
    };
    expect(add(stored[1]!)).toEqual(add(planes[1]!));
    expect(add(stored[1]!).weight.some((w) => w > 0)).toBe(true);
  });

  test('that ends early is an error, not a plane of zeros', async () => {
    const path = join(folder, 'short.f32');
    await createFloatsFile(path, WIDTH * HEIGHT);
    await truncate(path, 4 * WIDTH * HEIGHT - 4);
    expect(() => wholePlane(planesInFile(path, 1, WIDTH, HEIGHT)[0]!)).toThrow(/ends early/);
  });
});
