import { readdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { plan } from '../src/plan/plan.js';
import type { Sidecar } from '../src/plate/sidecar.js';
import { planRehearsal } from '../src/rehearsal/plan-rehearsal.js';
import { REHEARSAL_DEFAULTS, rehearse } from '../src/rehearsal/rehearse.js';
import { signedDeg } from '../src/sky/angles.js';
import { ephemeris } from '../src/sky/ephemeris.js';
import { stitch } from '../src/stitch.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
const SITE = { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 };

test('a capture with a site and a clock: stitch says where its plate lies, and lays it out as a map', async () => {
  const options = {
    site: SITE,
    optics: { focalLengthMm: 2400 },
    sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
    from: new Date('2031-03-01T00:00:00Z'),
    to: new Date('2031-03-31T00:00:00Z'),
    wish: { elongation: { fromDeg: 70, toDeg: 110 } },
  };
  const { shots } = plan(options);
  const settings = planRehearsal(options, shots!, { shorterSidePx: 260, framesPerCrossing: 7 });
  const seeing = { ...REHEARSAL_DEFAULTS.seeing, tiltPx: 0.3, warpPx: 0 };
  const dir = scratch('night');
  await rehearse(dir, { ...settings, seeing });
  const capture = join(dir, 'capture');
  const { latitudeDeg, longitudeDeg, heightM } = SITE;
  const yaml = { site: { latitudeDeg, longitudeDeg, heightM } };
  await writeFile(join(capture, 'capture.yaml'), JSON.stringify(yaml));

  const outDir = scratch('plate');
  const { where, wherePaths, sidecarPath } = await stitch(capture, {
    outDir,
    map: 'orthographic',
    workDir: scratch('work'),
  });
  if (!where.known) throw new Error(where.detail);
  expect(where.from).toBe('sky');
  // The moment is that of a pass, the libration that of the moment.
  const { startMs, endMs } = nightSpan(shots!.passes);
  expect(Date.parse(where.utc!)).toBeGreaterThan(startMs);
  expect(Date.parse(where.utc!)).toBeLessThan(endMs);
  const { frame } = ephemeris('Moon', new Date(where.utc!), SITE);
  expect(where.subObserver).toEqual(frame!.subObserver);
  // Every frame's true turn, and its own on the plate, say where the true axis lies there.
  const { poses } = JSON.parse(await readFile(join(dir, 'poses.json'), 'utf8')) as Poses;
  const first = ephemeris('Moon', new Date(shots!.passes[0]!.middleMs), SITE);
  const truthAxisDeg = first.parallacticAngleDeg - first.frame!.axisPositionAngleDeg;
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

  // A clock that shows a year without an ephemeris costs the place, not the plate.
  const wrong = { site: { ...yaml.site, clockOffsetS: 3_100_000_000 } };
  await writeFile(join(capture, 'capture.yaml'), JSON.stringify(wrong));
  const again = await stitch(capture, { outDir: scratch('plate without'), workDir: scratch('work') });
  expect(again.where).toMatchObject({ known: false, reason: 'no-site' });
  expect(again.wherePaths).toEqual([]);
});

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
