import { beforeAll, describe, expect, it } from 'vitest';
import { readStill } from '../src/capture/read-still.js';
import { type Affine, applyX, applyY, poseAbout } from '../src/compute/affine.js';
import { luminance, type Plane } from '../src/compute/image.js';
import { registerPair } from '../src/registration/pair.js';
import { isCertain, type SimilarityCandidate, searchPrepared } from '../src/registration/pair-search.js';
import { prepareSearchPicture, type SearchPicture } from '../src/registration/pair-search-picture.js';
import type { SearchRanges } from '../src/registration/pair-search-vote.js';
import { shared } from './shared.js';

const ANY: SearchRanges = { rotationDeg: 'any', scale: [0.3, 3] };

const FILES = {
  'gibbous-whole': 'gibbous-whole.png',
  'gibbous-south': 'gibbous-part-south.png',
  'gibbous-north': 'gibbous-part-north.png',
  'nearly-full-a': 'nearly-full-a.png',
  'nearly-full-b': 'nearly-full-b.png',
  'crescent-visible': 'crescent-visible.jpg',
  'crescent-infrared': 'crescent-infrared.jpg',
  'crescent-panel': 'crescent-limb-panel.png',
  'eclipse-1': 'eclipse-1.jpg',
  'eclipse-2': 'eclipse-2.jpg',
  'eclipse-3': 'eclipse-3.jpg',
  garden: 'negative-garden-night.jpg',
  sun: 'sun-white-light.png',
} as const;
type Name = keyof typeof FILES;

interface Photo {
  readonly light: Plane;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly prepared: SearchPicture;
}

const photos = new Map<Name, Photo>();

beforeAll(async () => {
  for (const [name, file] of Object.entries(FILES) as [Name, string][]) {
    const light = luminance((await readStill(shared('real', 'photos', file))).image);
    photos.set(name, {
      light,
      widthPx: light.width,
      heightPx: light.height,
      prepared: prepareSearchPicture({ light }),
    });
  }
});

function search(moving: Name, fixed: Name): SimilarityCandidate[] {
  return searchPrepared(photos.get(fixed)!.prepared, photos.get(moving)!.prepared, ANY);
}

/** Mean-square and largest distance of two poses over the ground that both pictures show, px of the fixed picture. */
function distancePx(p: Affine, q: Affine, moving: Name, fixed: Name): { rms: number; worst: number } {
  const { ground, originX, originY, stepX, stepY } = photos.get(moving)!.prepared;
  const { widthPx, heightPx } = photos.get(fixed)!;
  let squares = 0;
  let count = 0;
  let worst = 0;
  for (let i = 0; i < ground.data.length; i += 7) {
    if (ground.data[i] === 0) continue;
    const x = originX + (i % ground.width) * stepX;
    const y = originY + Math.floor(i / ground.width) * stepY;
    const u = applyX(q, x, y);
    const v = applyY(q, x, y);
    if (u < 0 || v < 0 || u > widthPx - 1 || v > heightPx - 1) continue;
    const distance = Math.hypot(applyX(p, x, y) - u, applyY(p, x, y) - v);
    squares += distance * distance;
    count++;
    worst = Math.max(worst, distance);
  }
  return { rms: Math.sqrt(squares / count), worst };
}

describe('pairs of photographs that show the same ground', () => {
  // Scale, turn, shift and rms of the matches of an independent measurement, px of the second picture.
  it.each([
    ['gibbous-south', 'gibbous-whole', 0.36, -2.8, 623.2, 341.3, 0.8],
    ['gibbous-north', 'gibbous-whole', 0.36, -2.67, 281.2, 487.3, 0.7],
    ['gibbous-south', 'gibbous-north', 0.997, -0.05, 972, -361, 1.7],
    ['nearly-full-a', 'nearly-full-b', 0.998, -0.02, -91, -3, 2.5],
    ['crescent-infrared', 'crescent-visible', 0.979, -19.4, 911, 1417, 8],
    ['eclipse-1', 'eclipse-2', 1.418, 12.6, 313, -1093, 4.7],
    ['eclipse-2', 'eclipse-3', 0.9995, 6.5, 167, 69, 4.3],
    ['eclipse-1', 'eclipse-3', 1.415, 19.8, 632, -980, 4.6],
  ] as const)('places %s on %s', (moving, fixed, scale, rotationDeg, shiftX, shiftY, rmsPx) => {
    const measured = poseAbout({ x: 0, y: 0 }, { shiftX, shiftY, rotationDeg, scale });
    const [best] = search(moving, fixed);
    expect(best && isCertain(best)).toBe(true);
    // The measurement is itself no better than its rms, and rounded: all over the ground within twice that.
    const { rms, worst } = distancePx(best!.pose, measured, moving, fixed);
    expect(worst).toBeLessThan(2 * rmsPx);
    expect(rms).toBeLessThan(rmsPx);
    expect(Math.abs(best!.scale / scale - 1)).toBeLessThan(0.005);
    expect(Math.abs(best!.rotationDeg - rotationDeg)).toBeLessThan(0.35);
  });
});

describe('registerPair', () => {
  const options = { freedom: 'similarity', rotationDeg: 'any', scaleRange: 3 } as const;

  it.each([
    ['gibbous-south', 'gibbous-whole', 0.36, -2.8, 623.2, 341.3, 0.8],
    ['gibbous-north', 'gibbous-whole', 0.36, -2.67, 281.2, 487.3, 0.7],
  ] as const)('places %s on %s', (moving, fixed, scale, rotationDeg, shiftX, shiftY, rmsPx) => {
    const measured = poseAbout({ x: 0, y: 0 }, { shiftX, shiftY, rotationDeg, scale });
    const found = registerPair(photos.get(fixed)!.light, photos.get(moving)!.light, options);
    expect(found.placed && distancePx(found.pose, measured, moving, fixed).worst).toBeLessThan(2 * rmsPx);
  });

  it.each([
    ['crescent-infrared', 'crescent-visible'],
    ['sun', 'eclipse-2'],
  ] as const)('refuses %s on %s: another filter, another body', (moving, fixed) => {
    const found = registerPair(photos.get(fixed)!.light, photos.get(moving)!.light, options);
    expect(found).toMatchObject({ placed: false, reason: expect.stringMatching(/^(UNSTABLE|NO_OVERLAP)$/) });
  });
});

describe('pairs of photographs that must not be joined', () => {
  const moons: Name[] = ['gibbous-whole', 'gibbous-south', 'nearly-full-a', 'crescent-visible', 'eclipse-2'];
  const negatives: (readonly [Name, Name])[] = [
    ...moons.map((moon) => ['sun', moon] as const),
    ['eclipse-2', 'garden'],
    ['garden', 'crescent-visible'],
    ['garden', 'sun'],
    ['crescent-panel', 'crescent-visible'],
    ['crescent-visible', 'crescent-panel'],
  ];

  it.each(negatives)('finds no place for %s on %s', (moving, fixed) => {
    expect(search(moving, fixed)).toEqual([]);
  });

  // Other dates: the ground is the same, but its light is not, and the Moon has turned a little.
  it.each([
    ['crescent-infrared', 'nearly-full-b'],
    ['eclipse-3', 'nearly-full-b'],
  ] as const)('is not certain of %s on %s', (moving, fixed) => {
    expect(search(moving, fixed).filter(isCertain)).toEqual([]);
  });
});
