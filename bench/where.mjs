// Where a plate lies on the Moon: rehearsals of planned nights, whose geometry is the ephemeris', and the rendered real surface of
// ../shared/real/captures with its map. Arguments: number of nights (default 6); shorter side of the rehearsed frames, px, 960 by
// default: the camera's 2160 take long, and what the air moves the ground by is a pixel or so at any size.
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { applyX, applyY, compose, invert } from '../packages/core/dist/compute/affine.js';
import { bodyToDisc } from '../packages/core/dist/georef/body-pose.js';
import {
  ephemeris,
  namedFeatures,
  plan,
  planRehearsal,
  REHEARSAL_DEFAULTS,
  rehearse,
  stitch,
} from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';

const CAPTURES = '../shared/real/captures';
const MAP = '../shared/real/maps/moon-albedo-4096x2048.jpg';
const DAY_MS = 86_400_000;
const [nights = 6, shorterSidePx = 960] = process.argv.slice(2).map(Number);

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
const rows = [];
try {
  for (let night = 0; night < nights; night++) rows.push(await rehearsedNight(night));
  for (const name of ['open_halves', 'open_clips']) rows.push(await renderedNight(name));
} finally {
  await rm(scratch, { recursive: true, force: true });
}
printTable(
  [
    'capture',
    'told by',
    'radius px',
    'centre px',
    'radius off px',
    'north off deg',
    'features rms % of radius',
    'largest %',
  ],
  rows,
);
console.log('bars: centre 0.3 px, north 0.05 degrees, a feature 0.1 % of the radius');

async function rehearsedNight(night) {
  const dir = join(scratch, `night-${night}`);
  const site = {
    latitudeDeg: [46.6, -33.9, 19.8, 60.2, -12, 35][night % 6],
    longitudeDeg: 8 + 50 * night,
    heightM: 300 * night,
  };
  const from = new Date(Date.UTC(2031, night, 3));
  const options = {
    site,
    optics: { focalLengthMm: 2000 },
    sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
    from,
    to: new Date(from.getTime() + 27 * DAY_MS),
    wish: night < 3 ? {} : { elongation: { fromDeg: 60, toDeg: 130 } },
  };
  const { shots } = plan(options);
  if (!shots) return [`night ${night}`, 'no plan', '', '', '', '', '', ''];
  const settings = planRehearsal(options, shots, { seed: night, shorterSidePx, framesPerCrossing: 24 });
  await rehearse(dir, { ...settings, seeing: { ...REHEARSAL_DEFAULTS.seeing, warpPx: 0 } }, { force: true });
  const { latitudeDeg, longitudeDeg, heightM } = site;
  await writeFile(
    join(dir, 'capture', 'capture.yaml'),
    `synthetic: true\nsite:\n  latitudeDeg: ${latitudeDeg}\n  longitudeDeg: ${longitudeDeg}\n  heightM: ${heightM}\n`,
  );
  const { where, sidecarPath } = await stitch(join(dir, 'capture'), { outDir: join(dir, 'plate') });
  if (!where.known) return [`night ${night}`, where.reason, '', '', '', '', '', ''];
  const first = ephemeris('Moon', new Date(shots.passes[0].middleMs), site, undefined);
  const axisDeg = first.parallacticAngleDeg - first.frame.axisPositionAngleDeg;
  const truth = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
  const [x, y] = truth.disc.centre_px;
  const radius = truth.disc.diameter_px / 2;
  const frame = ephemeris('Moon', new Date(where.utc), site, undefined).frame;
  const [sin, cos] = [Math.sin((axisDeg * Math.PI) / 180), Math.cos((axisDeg * Math.PI) / 180)];
  const points = namedFeatures()
    .filter(({ diameterKm }) => diameterKm > 60)
    .map((feature) => ({ feature, ...bodyToDisc(frame, feature) }))
    .filter(({ visible }) => visible)
    .map(({ feature, u, v }) => ({
      name: feature.name,
      x: x + radius * (u * cos + v * sin),
      y: y + radius * (u * sin - v * cos),
    }));
  return compared(`night ${night}`, where, { x, y, radius, axisDeg, points }, await truthToPlate(dir, sidecarPath));
}

async function renderedNight(name) {
  const dir = join(CAPTURES, name);
  const outDir = join(scratch, name);
  const { where, sidecarPath } = await stitch(join(dir, 'capture'), { outDir, albedoPath: MAP });
  if (!where.known) return [name, where.reason, '', '', '', '', '', ''];
  const truth = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
  const [x, y] = truth.disc.centre_px;
  const axisDeg = -truth.geometry.position_angle_deg;
  const known = { x, y, radius: truth.disc.diameter_px / 2, axisDeg, points: truth.check_points };
  return compared(name, where, known, await truthToPlate(dir, sidecarPath));
}

/** Mean of the maps that the frames' true poses and those of the sidecar give together. */
async function truthToPlate(dir, sidecarPath) {
  const {
    os,
    capture_centre_px: [x, y],
  } = JSON.parse(await readFile(join(dir, 'truth.json'), 'utf8'));
  const { poses } = JSON.parse(await readFile(join(dir, 'poses.json'), 'utf8'));
  const { passes } = JSON.parse(await readFile(sidecarPath, 'utf8'));
  const maps = passes.flatMap(({ name, widthPx, heightPx, frames }) =>
    frames.map(({ index, pose }) => {
      const { theta_deg, cx, cy, squeeze } = (poses[name] ?? poses[name.replace(/\.\w+$/, '')])[index];
      const turn = (theta_deg * Math.PI) / 180;
      const [xx, xy] = [os * Math.cos(turn), -os * Math.sin(turn)];
      const [yx, yy] = [os * squeeze * Math.sin(turn), os * squeeze * Math.cos(turn)];
      const [w, h] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
      return compose(
        pose,
        invert({ xx, xy, yx, yy, tx: os * cx + x - xx * w - xy * h, ty: os * cy + y - yx * w - yy * h }),
      );
    }),
  );
  const mean = (key) => maps.reduce((sum, map) => sum + map[key], 0) / maps.length;
  return Object.fromEntries(['xx', 'xy', 'yx', 'yy', 'tx', 'ty'].map((key) => [key, mean(key)]));
}

function compared(name, where, { x, y, radius, axisDeg, points }, toPlate) {
  const { disc, discToPlate } = where;
  const scale = Math.sqrt(toPlate.xx * toPlate.yy - toPlate.xy * toPlate.yx);
  const [cx, cy] = [applyX(toPlate, x, y), applyY(toPlate, x, y)];
  const axis = (axisDeg * Math.PI) / 180;
  const up = [x + radius * Math.sin(axis), y - radius * Math.cos(axis)];
  const trueAxis = (Math.atan2(applyX(toPlate, ...up) - cx, cy - applyY(toPlate, ...up)) * 180) / Math.PI;
  const byName = new Map(where.features.map((feature) => [feature.name, feature]));
  const errors = points.flatMap((point) => {
    const found = byName.get(point.name);
    return found
      ? [Math.hypot(found.x - applyX(toPlate, point.x, point.y), found.y - applyY(toPlate, point.x, point.y))]
      : [];
  });
  const radiusPx = radius * scale;
  const rms = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
  const north = ((where.axisDeg - trueAxis + 540) % 360) - 180;
  const mean = Math.sqrt(disc.semiMajorPx * disc.semiMinorPx);
  return [
    name,
    where.from,
    radiusPx.toFixed(1),
    Math.hypot(discToPlate.tx - cx, discToPlate.ty - cy).toFixed(3),
    (mean - radiusPx).toFixed(3),
    north.toFixed(3),
    ((100 * rms) / radiusPx).toFixed(3),
    ((100 * Math.max(...errors)) / radiusPx).toFixed(3),
  ];
}
