import { execFileSync } from 'node:child_process';
import { copyFile, mkdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { beforeAll, describe, expect, test } from 'vitest';
import { readPlate } from '../src/plate/read-plate.js';
import type { Sidecar } from '../src/plate/sidecar.js';
import { rehearse } from '../src/rehearsal/rehearse.js';
import { type StitchResult, stitch } from '../src/stitch.js';
import { useScratch } from './scratch.js';
import { shared } from './shared.js';

const scratch = useScratch();
const schema = JSON.parse(await readFile(new URL('../schema/plate.schema.json', import.meta.url), 'utf8')) as object;
const validate = new Ajv2020({ allErrors: true }).compile(schema);

async function sidecarOf(result: StitchResult): Promise<Sidecar> {
  const sidecar = JSON.parse(await readFile(result.sidecarPath, 'utf8')) as Sidecar;
  validate(sidecar);
  expect(validate.errors).toBeNull();
  return sidecar;
}

/** The independent scorer, and the plate that perfect poses, gains, sky and flat give from the same frames. */
function python(tool: string, ...args: string[]): string {
  return execFileSync('/usr/bin/python3', [shared('tools', tool), ...args], { encoding: 'utf8' });
}

describe('open_halves: frames made from a rendered real surface', () => {
  let result: StitchResult;
  beforeAll(async () => {
    result = await stitch(shared('real/captures/open_halves/capture'), { outDir: scratch('halves') });
  });

  test('gives a whole plate as true as the one that known poses give', async () => {
    expect(result).toMatchObject({ complete: true, gaps: [], leftOut: [] });
    const truth = shared('real/captures/open_halves');
    const yardstick = scratch('known.tif');
    python('known_poses.py', truth, yardstick, '--keep', '1.0');
    const known = JSON.parse(python('score.py', yardstick, truth)) as Score;
    const ours = JSON.parse(python('score.py', result.platePath, truth)) as Score;
    expect(ours.covered).toBe(1);
    expect(ours.geom_rms_px).toBeLessThan(1.3 * known.geom_rms_px);
    // The bar is 2 x; the yardstick leaves a sky gradient in, so that half of its figure is within reach.
    expect(ours.lowfreq_log_ratio_std).toBeLessThan(known.lowfreq_log_ratio_std);
    expect(ours.seam_grad_p999).toBeLessThan(known.seam_grad_p999);
  });

  test('the sidecar follows its schema and accounts for every frame', async () => {
    const sidecar = await sidecarOf(result);
    expect(sidecar.passes.map((p) => [p.name, p.frames.length])).toEqual([
      ['lower', 12],
      ['upper', 12],
    ]);
    expect(sidecar.passes[0]!.frames[0]!.file).toBe('lower/frame_0000.png');
    expect(sidecar.overlaps).toHaveLength(1);
  });
});

interface Score {
  readonly covered: number;
  readonly geom_rms_px: number;
  readonly lowfreq_log_ratio_std: number;
  readonly seam_grad_p999: number;
}

test('two real partial photographs are placed as measured, and the seam does not show', async () => {
  const capture = scratch('gibbous');
  for (const part of ['north', 'south']) {
    await mkdir(join(capture, part), { recursive: true });
    await copyFile(shared(`real/photos/gibbous-part-${part}.png`), join(capture, part, 'photo.png'));
  }
  const result = await stitch(capture, { outDir: scratch('gibbous plate') });
  const sidecar = await sidecarOf(result);
  const [north, south] = sidecar.passes.map((pass) => pass.frames[0]!.pose);
  // MANIFEST.md: south -> north is 0.997 R(-0.05 deg) + (972, -361), measured in the narrow overlap. Compared there.
  const angle = (-0.05 * Math.PI) / 180;
  for (const [x, y] of [
    [0, 361],
    [278, 361],
    [0, 832],
    [278, 832],
    [139, 600],
  ] as const) {
    const expected = {
      x: 0.997 * (Math.cos(angle) * x - Math.sin(angle) * y) + 972,
      y: 0.997 * (Math.sin(angle) * x + Math.cos(angle) * y) - 361,
    };
    const got = { x: south!.xx * x + south!.xy * y + south!.tx, y: south!.yx * x + south!.yy * y + south!.ty };
    const want = {
      x: north!.xx * expected.x + north!.xy * expected.y + north!.tx,
      y: north!.yx * expected.x + north!.yy * expected.y + north!.ty,
    };
    expect(Math.hypot(got.x - want.x, got.y - want.y)).toBeLessThan(2);
  }
  // Both photographs cut the disc off at their upper edges: the plate says so.
  expect(result.complete).toBe(false);
  expect(result.gaps.map((gap) => gap.where)).toEqual(
    expect.arrayContaining(['at the upper edge of the pass "north"', 'at the upper edge of the pass "south"']),
  );
});

describe('passes that do not overlap', () => {
  let result: StitchResult;
  beforeAll(async () => {
    const dir = scratch('apart');
    await rehearse(dir, {
      seed: 5,
      discDiameterPx: 900,
      frameWidthPx: 640,
      frameHeightPx: 400,
      passes: 3,
      framesPerPass: 6,
      omitPasses: [1],
    });
    result = await stitch(join(dir, 'capture'), { outDir: scratch('apart plate') });
  });

  test('leave a gap that is transparent and named', async () => {
    expect(result.complete).toBe(false);
    expect(result.gaps.length).toBeGreaterThan(0);
    const { image, coverage } = await readPlate(result.platePath);
    let empty = 0;
    for (let i = 0; i < coverage.data.length; i++) {
      if (coverage.data[i]! > 0) continue;
      empty++;
      for (const plane of image.planes) expect(plane[i]).toBe(0);
    }
    expect(empty).toBeGreaterThan(0);
    await sidecarOf(result);
  });
});

test('1, 2 and 4 workers give the same plate, byte for byte', async () => {
  const dir = scratch('workers');
  await rehearse(dir, {
    seed: 9,
    discDiameterPx: 560,
    frameWidthPx: 480,
    frameHeightPx: 320,
    passes: 2,
    framesPerPass: 5,
  });
  const plates: Buffer[] = [];
  const sidecars: string[] = [];
  for (const workers of [1, 2, 4]) {
    const result = await stitch(join(dir, 'capture'), { outDir: scratch(`workers ${workers}`), workers });
    plates.push(await readFile(result.platePath));
    sidecars.push(await readFile(result.sidecarPath, 'utf8'));
  }
  expect(plates[1]!.equals(plates[0]!)).toBe(true);
  expect(plates[2]!.equals(plates[0]!)).toBe(true);
  expect(new Set(sidecars).size).toBe(1);
});

test('the output may not lie inside the capture', async () => {
  const capture = shared('real/captures/open_halves/capture');
  await expect(stitch(capture, { outDir: join(capture, 'plate') })).rejects.toMatchObject({
    code: 'OUTPUT_INSIDE_CAPTURE',
  });
});
