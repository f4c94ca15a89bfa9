import { readdir, readFile, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import sharp from 'sharp';
import { beforeAll, expect, test } from 'vitest';
import { type Affine, applyX, applyY } from '../src/compute/affine.js';
import { bilinearAt } from '../src/compute/sample.js';
import { plan } from '../src/plan/plan.js';
import type { ShotList } from '../src/plan/plan-types.js';
import type { Sidecar } from '../src/plate/sidecar.js';
import { planRehearsal } from '../src/rehearsal/plan-rehearsal.js';
import { REHEARSAL_DEFAULTS, rehearse } from '../src/rehearsal/rehearse.js';
import { signedDeg } from '../src/sky/angles.js';
import { ephemeris } from '../src/sky/ephemeris.js';
import { type StitchResult, stitch } from '../src/stitch.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
const SITE = { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 };

let dir: string;
let capture: string;
let shots: ShotList;
let first: StitchResult;

beforeAll(async () => {
  const options = {
    site: SITE,
    optics: { focalLengthMm: 2400 },
    sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
    from: new Date('2031-03-01T00:00:00Z'),
    to: new Date('2031-03-31T00:00:00Z'),
    wish: { elongation: { fromDeg: 70, toDeg: 110 } },
  };
  shots = plan(options).shots!;
  const settings = planRehearsal(options, shots, { shorterSidePx: 260, framesPerCrossing: 7 });
  const seeing = { ...REHEARSAL_DEFAULTS.seeing, tiltPx: 0.3, warpPx: 0 };
  dir = scratch('night');
  await rehearse(dir, { ...settings, seeing });
  capture = join(dir, 'capture');
  await writeFile(join(capture, 'capture.yaml'), JSON.stringify({ site: SITE }));
  first = await stitch(capture, {
    outDir: scratch('plate'),
    map: 'orthographic',
    masters: { matte: true },
    workDir: scratch('work'),
  });
});

test('a capture with a site and a clock: stitch says where its plate lies, and lays it out as a map', async () => {
  const { where, wherePaths, sidecarPath } = first;
  const outDir = dirname(sidecarPath);
  if (!where.known) throw new Error(where.detail);
  expect(where.from).toBe('sky');
  // The moment is that of a pass, the libration that of the moment.
  const { startMs, endMs } = nightSpan(shots.passes);
  expect(Date.parse(where.utc!)).toBeGreaterThan(startMs);
  expect(Date.parse(where.utc!)).toBeLessThan(endMs);
  const { frame } = ephemeris('Moon', new Date(where.utc!), SITE);
  expect(where.subObserver).toEqual(frame!.subObserver);
  // Every frame's true turn, and its own on the plate, say where the true axis lies there.
  const { poses } = JSON.parse(await readFile(join(dir, 'poses.json'), 'utf8')) as Poses;
  const sky = ephemeris('Moon', new Date(shots.passes[0]!.middleMs), SITE);
  const truthAxisDeg = sky.parallacticAngleDeg - sky.frame!.axisPositionAngleDeg;
  const sidecar = JSON.parse(await readFile(sidecarPath, 'utf8')) as Sidecar;
  const turns = sidecar.passes.flatMap(({ name, frames }) =>
    frames.map(({ index, pose }) => {
      const onPlate = (Math.atan2(pose.yx, pose.xx) * 180) / Math.PI;
      return signedDeg(truthAxisDeg + onPlate - poses[name]![index]!.theta_deg - where.axisDeg);
    }),
  );
  const off = turns.reduce((sum, turn) => sum + turn, 0) / turns.length;
  expect(Math.abs(off)).toBeLessThan(0.15 + 2 * where.axisSigmaDeg);
  expect(where.features.length).toBeGreaterThan(500);

  expect(wherePaths).toEqual([join(outDir, 'features.svg'), join(outDir, 'map.tif')]);
  expect(await readdir(outDir)).toEqual(expect.arrayContaining(['features.svg', 'map.tif']));
  expect(sidecar.files.map(({ file }) => file)).toEqual(expect.arrayContaining(['features.svg', 'map.tif']));
  expect(sidecar.passes.length).toBeGreaterThan(1);
});

test('the matte’s disc is the plate’s', async () => {
  const { where, sidecarPath } = first;
  if (!where.known) throw new Error(where.detail);
  const { limb } = JSON.parse(await readFile(sidecarPath, 'utf8')) as Sidecar;
  const { x, y, semiMajorPx, semiMinorPx, majorDeg } = where.disc;
  expect(limb!.ellipse).toEqual({
    ...{ centreX: x, centreY: y },
    ...{ aPx: semiMajorPx, bPx: semiMinorPx, angleDeg: majorDeg - 90 },
  });
  // As large as the rehearsal has made it, but for what the air's last bends leave; its edge lies there, too.
  const truth = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8')) as { disc: { diameter_frame_px: number } };
  expect(Math.abs(Math.sqrt(semiMajorPx * semiMinorPx) - truth.disc.diameter_frame_px / 2)).toBeLessThan(0.5);
  expect(Math.abs(limb!.softness.offsetPx)).toBeLessThan(0.5);
});

test('north up: the same ground in the same light, on a plate whose axis is upright', async () => {
  const { where, platePath } = first;
  const turned = await stitch(capture, { outDir: scratch('north up'), workDir: scratch('work'), northUp: true });
  if (!where.known || !turned.where.known) throw new Error('it is not known where the plate lies');
  expect(Math.abs(where.axisDeg)).toBeGreaterThan(1);
  expect(Math.abs(turned.where.axisDeg)).toBeLessThan(0.01);
  expect(turned.where.subObserver).toEqual(where.subObserver);
  expect(turned.complete).toBe(true);
  const differences = await onSameGround([platePath, where.discToPlate], [turned.platePath, turned.where.discToPlate]);
  expect(differences.length).toBeGreaterThan(2000);
  // Half of them within a hundredth of the light: bilinear samples of noise and of sharp edges differ more.
  expect(differences[Math.floor(differences.length / 2)]!).toBeLessThan(0.01);
});

test('a clock that shows a year without an ephemeris costs the place, not the plate, which stays as it stands', async () => {
  const wrong = { site: { ...SITE, clockOffsetS: 3_100_000_000 } };
  await writeFile(join(capture, 'capture.yaml'), JSON.stringify(wrong));
  const again = await stitch(capture, { outDir: scratch('plate without'), workDir: scratch('work'), northUp: true });
  expect(again.where).toMatchObject({ known: false, reason: 'no-site' });
  expect(again.notices).toContainEqual(expect.objectContaining({ item: 'plate', reason: 'north-unknown' }));
  expect([again.widthPx, again.heightPx]).toEqual([first.widthPx, first.heightPx]);
  expect(again.wherePaths).toEqual([]);
});

/** Differences of two plates over a grid of the disc, as a share of the brightest light, ascending; where both are covered. */
async function onSameGround(...plates: readonly (readonly [string, Affine])[]): Promise<number[]> {
  const [a, b] = await Promise.all(
    plates.map(async ([path, toPlate]) => {
      const { data, info } = await sharp(path)
        .toColourspace('rgb16')
        .raw({ depth: 'ushort' })
        .toBuffer({ resolveWithObject: true });
      const samples = new Uint16Array(data.buffer, data.byteOffset, data.length / 2);
      const part = (band: number): Float32Array =>
        Float32Array.from({ length: info.width * info.height }, (_, i) => samples[i * info.channels + band]!);
      const [light, alpha] = [part(0), part(info.channels - 1)];
      return (u: number, v: number): number => {
        const [x, y] = [applyX(toPlate, u, v), applyY(toPlate, u, v)];
        return bilinearAt(alpha, info.width, info.height, x, y) < 65535
          ? Number.NaN
          : bilinearAt(light, info.width, info.height, x, y);
      };
    }),
  );
  const pairs: (readonly [number, number])[] = [];
  for (let v = -0.95; v < 1; v += 0.02)
    for (let u = -0.95; u < 1; u += 0.02) if (Math.hypot(u, v) < 0.95) pairs.push([a!(u, v), b!(u, v)]);
  const both = pairs.filter(([p, q]) => p + q >= 0);
  const most = Math.max(...both.flat());
  return both.map(([p, q]) => Math.abs(p - q) / most).sort((p, q) => p - q);
}

interface Poses {
  readonly poses: Readonly<Record<string, readonly { readonly theta_deg: number }[]>>;
}

function nightSpan(passes: readonly { readonly middleMs: number; readonly driftS: number }[]): {
  startMs: number;
  endMs: number;
} {
  return {
    startMs: Math.min(...passes.map(({ middleMs, driftS }) => middleMs - 500 * driftS)),
    endMs: Math.max(...passes.map(({ middleMs, driftS }) => middleMs + 500 * driftS)),
  };
}

test('what is no map of a whole body is refused before any work', async () => {
  const outDir = scratch('refused');
  const albedoPath = '../shared/real/photos/gibbous-whole.png';
  const capture = '../shared/real/captures/open_halves/capture';
  await expect(stitch(capture, { outDir, albedoPath })).rejects.toMatchObject({
    code: 'MAP_UNREADABLE',
    message: expect.stringContaining('twice as wide as high') as unknown,
  });
  await expect(readdir(outDir)).rejects.toMatchObject({ code: 'ENOENT' });
});
