import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { gaussianBlur } from '../compute/gaussian.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { type Similarity, similarityResidual } from '../compute/similarity.js';
import { scoreGeometry } from './score-geometry.js';
import { matchPlate } from './score-match.js';
import { scorePhotometry } from './score-photometry.js';
import { readScoredPlate } from './score-plate.js';
import { correlationShift } from './score-shift.js';
import { scoreTransfer } from './score-transfer.js';
import { warpSimilarity } from './score-warp.js';

/** Rough ground: blurred noise of two sizes about a level of 0.5. */
function ground(width: number, height: number, seed: string): Plane {
  const random = createRandom(seed);
  const noise = (): Plane => {
    const plane = createPlane(width, height);
    for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
    return plane;
  };
  const fine = gaussianBlur(noise(), 2);
  const coarse = gaussianBlur(noise(), 9);
  const out = createPlane(width, height);
  for (let i = 0; i < out.data.length; i++) out.data[i] = 0.5 + 0.5 * fine.data[i]! + 2 * coarse.data[i]!;
  return out;
}

describe('correlationShift', () => {
  it.each([
    [0, 0],
    [3, -7],
    [0.37, -0.21],
    [-11.5, 20.25],
  ])('measures a shift of (%f, %f) px that is known exactly', (shiftX, shiftY) => {
    const n = 64;
    // A sum of waves that fit the square, so that a shift by parts of a pixel is exact.
    const random = createRandom('waves');
    const waves = Array.from({ length: 60 }, () => ({
      u: Math.round(8 * random.normal()),
      v: Math.round(8 * random.normal()),
      phase: 2 * Math.PI * random.uniform(),
    }));
    const drawn = (dx: number, dy: number): Plane => {
      const plane = createPlane(n, n);
      for (let i = 0; i < n * n; i++) {
        const [x, y] = [(i % n) - dx, Math.floor(i / n) - dy];
        for (const { u, v, phase } of waves)
          if (u || v) plane.data[i]! += Math.cos((2 * Math.PI * (u * x + v * y)) / n + phase);
      }
      return plane;
    };
    const found = correlationShift(drawn(shiftX, shiftY), drawn(0, 0));
    // Float32 planes and the last Newton step of under 1e-4 px, which converges by its square.
    expect(Math.hypot(found.x - shiftX, found.y - shiftY)).toBeLessThan(1e-5);
  });
});

describe('warpSimilarity', () => {
  it('copies exactly for the identity and for whole shifts, with 0 outside', () => {
    const plane = ground(20, 15, 'copy');
    for (const kernel of ['linear', 'cubic'] as const) {
      expect(warpSimilarity(plane, { a: 1, b: 0, tx: 0, ty: 0 }, 20, 15, kernel).data).toEqual(plane.data);
      const moved = warpSimilarity(plane, { a: 1, b: 0, tx: 4, ty: -3 }, 20, 15, kernel);
      expect(moved.data[2 * 20 + 9]).toBe(plane.data[5 * 20 + 5]);
      expect(moved.data[2 * 20 + 3]).toBe(0);
      expect(moved.data[12 * 20 + 9]).toBe(0);
    }
  });

  it('gives the input back after four quarter turns', () => {
    const plane = ground(17, 17, 'turns');
    const quarter = { a: 0, b: 1, tx: 16, ty: 0 };
    let turned = plane;
    for (let i = 0; i < 4; i++) turned = warpSimilarity(turned, quarter, 17, 17, 'cubic');
    expect(turned.data).toEqual(plane.data);
  });

  it('reproduces a ramp between pixels, linear to rounding', () => {
    const plane = createPlane(30, 30);
    for (let i = 0; i < 900; i++) plane.data[i] = (i % 30) + 2 * Math.floor(i / 30);
    const moved = warpSimilarity(plane, { a: 1, b: 0, tx: 0.3, ty: -0.6 }, 30, 30, 'linear');
    expect(Math.abs(moved.data[10 * 30 + 10]! - (9.7 + 2 * 10.6))).toBeLessThan(1e-5);
  });
});

describe('matchPlate', () => {
  const scene = ground(260, 230, 'scene');
  const about = (rotationDeg: number, scale: number): Similarity => {
    const a = scale * Math.cos((rotationDeg * Math.PI) / 180);
    const b = scale * Math.sin((rotationDeg * Math.PI) / 180);
    return { a, b, tx: 130 - a * 120 + b * 120, ty: 115 - b * 120 - a * 120 };
  };

  it.each([
    [0, 1],
    [75, 0.8],
    [181, 1.3],
    [-100, 1],
    [300, 0.6],
  ])('finds a plate turned by %i degrees at %f scene px a plate px', (rotationDeg, scale) => {
    const map = about(rotationDeg, scale);
    const plate = createPlane(240, 240);
    for (let y = 0; y < 240; y++) {
      for (let x = 0; x < 240; x++) {
        const u = Math.round(map.a * x - map.b * y + map.tx);
        const v = Math.round(map.b * x + map.a * y + map.ty);
        if (u >= 0 && v >= 0 && u < 260 && v < 230) plate.data[y * 240 + x] = scene.data[v * 260 + u]!;
      }
    }
    const found = matchPlate(plate, scene)!;
    for (const [x, y] of [
      [90, 90],
      [150, 90],
      [120, 150],
    ] as const) {
      const pair = { fromX: x, fromY: y, toX: map.a * x - map.b * y + map.tx, toY: map.b * x + map.a * y + map.ty };
      // The refinement that follows needs it to a quarter of a patch, 32 px; keypoints give about 1.
      expect(similarityResidual(found, pair)).toBeLessThan(2);
    }
  });

  it('finds nothing in other ground', () => {
    expect(matchPlate(ground(240, 240, 'elsewhere'), scene)).toBeUndefined();
  });
});

describe('scoreGeometry', () => {
  it('sums up shifts in frame px and takes a stretch out of the affine figure', () => {
    const shifts = [0, 100, 200, 300].flatMap((x) =>
      [0, 100, 200].map((y) => ({ x, y, shiftX: (x - 150) / 100, shiftY: 0 })),
    );
    const score = scoreGeometry(shifts, 2);
    expect(score.patches).toBe(12);
    expect(score.geometryMaxPx).toBeCloseTo(0.75, 12);
    expect(score.geometryRmsPx).toBeCloseTo(Math.sqrt((2 * 0.75 ** 2 + 2 * 0.25 ** 2) / 4), 12);
    expect(score.affineRmsPx).toBeLessThan(1e-12);
  });
});

describe('scorePhotometry and scoreTransfer', () => {
  const scene = ground(300, 300, 'light');
  const full = createPlane(300, 300);
  full.data.fill(1);

  it('take any gain and offset for perfect', () => {
    const light = { ...scene, data: scene.data.map((v) => 0.3 * v + 0.02) };
    const photometry = scorePhotometry({ light, coverage: full }, scene)!;
    expect(photometry.score.covered).toBe(1);
    // What Float32 leaves of a perfect fit.
    expect(photometry.score.lowfreqLogRatioStd).toBeLessThan(1e-5);
    expect(photometry.score.seamGradP999).toBeLessThan(1e-2);
    expect(photometry.score.psnrDb).toBeGreaterThan(100);
    const { sharpPatches, transfer, coherence } = scoreTransfer(photometry, full, scene, 1);
    expect(sharpPatches).toBe(1);
    for (const v of [...transfer, ...coherence]) expect(Math.abs(v - 1)).toBeLessThan(1e-4);
  });

  it('give the transfer of a known blur', () => {
    const light = gaussianBlur(scene, 1.2);
    const photometry = scorePhotometry({ light, coverage: full }, scene)!;
    const { transfer } = scoreTransfer(photometry, full, scene, 1);
    // exp(−2π²σ²f²) lies between its values at the ends of each band; 0.02 for the gain that the fit may take.
    for (const [k, [from, to]] of [
      [0.02, 0.05],
      [0.05, 0.1],
      [0.1, 0.17],
      [0.17, 0.25],
    ].entries()) {
      const at = (f: number): number => Math.exp(-2 * Math.PI ** 2 * 1.2 ** 2 * f ** 2);
      expect(transfer[k]).toBeLessThan(at(from!) + 0.02);
      expect(transfer[k]).toBeGreaterThan(at(to!) - 0.02);
    }
  });

  it('say what is not covered, and that nothing is', () => {
    const coverage = createPlane(300, 300);
    for (let i = 0; i < coverage.data.length; i++) coverage.data[i] = i % 300 < 120 ? 1 : 0.5;
    const score = scorePhotometry({ light: scene, coverage }, scene)!.score;
    expect(Math.abs(score.covered - 0.4)).toBeLessThan(0.001);
    expect(scorePhotometry({ light: scene, coverage: createPlane(300, 300) }, scene)).toBeUndefined();
  });
});

describe('readScoredPlate', () => {
  it('decodes sRGB unless told that the light is linear, and reads the coverage', async () => {
    const dir = await mkdtemp(join(tmpdir(), 'plenilune-plate-'));
    try {
      const path = join(dir, 'plate.tif');
      const values = Uint16Array.of(32768, 16384, 0, 65535, 65535, 65535, 65535, 0);
      const raw = { width: 2, height: 1, channels: 4 } as const;
      await sharp(values, { raw }).toColourspace('rgb16').tiff({ compression: 'deflate' }).toFile(path);
      const linear = await readScoredPlate(path, true);
      expect([linear.light.width, linear.light.height]).toEqual([2, 1]);
      expect(linear.light.data[0]).toBeCloseTo(0.25, 5);
      expect([...linear.coverage.data]).toEqual([1, 0]);
      // IEC 61966-2-1: 0.5 is 0.21404, 0.25 is 0.05088.
      const encoded = await readScoredPlate(path, false);
      expect(encoded.light.data[0]).toBeCloseTo((0.21404 + 0.05088) / 3, 4);
      expect([...encoded.coverage.data]).toEqual([1, 0]);
      await expect(readScoredPlate(join(dir, 'missing.tif'), true)).rejects.toMatchObject({
        code: 'PLATE_UNREADABLE',
        message: expect.stringContaining('missing.tif'),
      });
    } finally {
      await rm(dir, { recursive: true, force: true });
    }
  });
});
