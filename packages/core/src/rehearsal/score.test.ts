import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type ReferenceFile, readReference, writePlate, writeScene } from '../../test/score-plates.js';
import { createPlane, type Plane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import { scorePlate } from './score.js';

let dir = '';
let truthDir = '';
let file: ReferenceFile;
let scene: Plane;

beforeAll(async () => {
  dir = await mkdtemp(join(tmpdir(), 'plenilune-score-'));
  truthDir = join(dir, 'truth');
  file = await readReference();
  scene = await writeScene(file, truthDir);
});

afterAll(() => rm(dir, { recursive: true, force: true }));

async function drawn(name: string): Promise<string> {
  const path = join(dir, `${name}.png`);
  await writePlate(path, scene, file.os, file.cases[name]!.plate);
  return path;
}

/** Lengths: a tenth of the reference or 0.02 px, whichever is more. */
function expectLength(actual: number, reference: number): void {
  expect(Math.abs(actual - reference)).toBeLessThan(Math.max(0.02, 0.1 * reference));
}

/** Light: a tenth of the reference; 0.00005 more for what the reference's four printed digits drop. */
function expectLight(actual: number, reference: number): void {
  expect(Math.abs(actual - reference)).toBeLessThan(0.1 * reference + 0.00005);
}

describe('scorePlate agrees with the independent scorer', () => {
  it.each([
    'whole',
    'lower_half_shifted',
    'lower_half_brighter',
    'blurred',
    'turned_and_shrunk',
    'upside_down_enlarged_part',
  ])('%s', async (name) => {
    const { plate, reference } = file.cases[name]!;
    const report = await scorePlate(await drawn(name), truthDir);
    expect([report.plateWidthPx, report.plateHeightPx]).toEqual([plate.widthPx, plate.heightPx]);
    expect(Math.abs(report.patches - reference.patches)).toBeLessThanOrEqual(2);
    expect(report.sharpPatches).toBe(reference.sharp_patches);
    expectLength(report.geometryRmsPx, reference.geom_rms_px);
    expectLength(report.geometryP95Px, reference.geom_p95_px);
    expectLength(report.geometryMaxPx, reference.geom_max_px);
    expectLength(report.affineRmsPx, reference.affine_rms_px);
    expect(Math.abs(report.covered - reference.covered)).toBeLessThan(0.002);
    expectLight(report.lowfreqLogRatioStd, reference.lowfreq_log_ratio_std);
    expectLight(report.lowfreqP99, reference.lowfreq_p99);
    expectLight(report.seamGradP999!, reference.seam_grad_p999);
    expect(Math.abs(report.psnrDb - reference.psnr_db)).toBeLessThan(0.3);
    for (let band = 0; band < 4; band++) {
      expect(Math.abs(report.transfer[band]! - reference.transfer[band]!)).toBeLessThan(0.02);
      expect(Math.abs(report.coherence[band]! - reference.coherence[band]!)).toBeLessThan(0.02);
    }
    // Known from the drawing itself: wobble and shifted halves move the best scale by far less than 1 in 1000.
    expect(Math.abs(report.scaleVsFrame - plate.scale) / plate.scale).toBeLessThan(1e-3);
    expect(Math.abs(report.discPx - reference.disc_px) / reference.disc_px).toBeLessThan(1e-3);
    const rotationDeg = (Math.atan2(report.plateToTruth.b, report.plateToTruth.a) * 180) / Math.PI;
    const fault = ((rotationDeg - plate.rotationDeg + 540) % 360) - 180;
    // 2 frame px over half a scene is 0.36 degrees.
    expect(Math.abs(fault)).toBeLessThan(plate.lowerShiftPx > 0 ? 0.4 : 0.05);
  });

  it('refuses a mirrored plate, as the reference does', async () => {
    expect(file.cases.mirrored!.reference.error).toMatch(/match/);
    await expect(scorePlate(await drawn('mirrored'), truthDir)).rejects.toMatchObject({
      name: 'InputError',
      code: 'PLATE_DOES_NOT_MATCH',
      message: expect.stringContaining('mirrored plates never match'),
    });
  });
});

describe('scorePlate on what it cannot score', () => {
  it('refuses a plate of noise', async () => {
    const random = createRandom('plate of noise');
    const values = Uint8Array.from({ length: 300 * 300 }, () => 255 * random.uniform());
    const path = join(dir, 'noise.png');
    await sharp(values, { raw: { width: 300, height: 300, channels: 1 } })
      .png()
      .toFile(path);
    await expect(scorePlate(path, truthDir)).rejects.toMatchObject({ code: 'PLATE_DOES_NOT_MATCH' });
  });

  it('refuses a black plate', async () => {
    const path = join(dir, 'black.png');
    const { data } = createPlane(200, 200);
    await sharp(Uint8Array.from(data), { raw: { width: 200, height: 200, channels: 1 } })
      .png()
      .toFile(path);
    await expect(scorePlate(path, truthDir)).rejects.toMatchObject({ code: 'PLATE_DOES_NOT_MATCH' });
  });

  it('names a plate that is missing or is no picture', async () => {
    const path = join(dir, 'no-picture.tif');
    await writeFile(path, 'no picture');
    for (const bad of [path, join(dir, 'missing.tif')]) {
      await expect(scorePlate(bad, truthDir)).rejects.toMatchObject({
        code: 'PLATE_UNREADABLE',
        message: expect.stringContaining(bad),
      });
    }
  });

  it('names a truth that is missing or of the wrong kind', async () => {
    const other = join(dir, 'other');
    const unused = join(dir, 'unused.png');
    await expect(scorePlate(unused, other)).rejects.toMatchObject({
      code: 'TRUTH_UNREADABLE',
      message: expect.stringContaining('truth.json'),
    });
    await writeScene({ ...file, os: -1 }, other);
    await expect(scorePlate(unused, other)).rejects.toMatchObject({
      code: 'TRUTH_UNREADABLE',
      message: expect.stringContaining('os is -1'),
    });
    await writeScene(file, other);
    const grey = { width: 9, height: 9, channels: 3, background: 'grey' } as const;
    await sharp({ create: grey }).png().toFile(join(other, 'truth.png'));
    await expect(scorePlate(unused, other)).rejects.toMatchObject({
      code: 'TRUTH_UNREADABLE',
      message: expect.stringContaining('it holds 3 channels of uchar'),
    });
  });

  it('stops when asked to', async () => {
    const unused = join(dir, 'unused.png');
    const fired = AbortSignal.abort();
    await expect(scorePlate(unused, truthDir, { signal: fired })).rejects.toMatchObject({ code: 'INTERRUPTED' });
    const path = join(dir, 'later.png');
    await writePlate(path, scene, file.os, file.cases.whole!.plate);
    const later = new AbortController();
    const running = scorePlate(path, truthDir, { signal: later.signal });
    setTimeout(() => later.abort(), 50);
    await expect(running).rejects.toMatchObject({ code: 'INTERRUPTED' });
  });
});
