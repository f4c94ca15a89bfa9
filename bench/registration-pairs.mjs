// The pairs of registration.mjs: rows of pairs with a known pose, pairs that show no common ground, big pairs to time.
import { invert, poseAbout } from '../packages/core/dist/compute/affine.js';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { shiftBound } from '../packages/core/dist/registration/pair-bound.js';
import { makeScene, meanAndContrast, view, withNoise } from './registration-scene.mjs';

export const SIDE = 256;
const LIMB_RADIUS_PX = 820;
const atLimb = (x, y) => Math.hypot(x + 500, y - 320) > LIMB_RADIUS_PX;
const turned = { freedom: 'similarity', rotationDeg: 5, scaleRange: 1.02 };

/** `bar` is the largest ratio of the rms to the bound. */
export const ROWS = [
  { name: 'SNR 100', snr: 100, bar: 1.2 },
  { name: 'SNR 30', snr: 30, bar: 1.2 },
  { name: 'SNR 10', snr: 10, bar: 1.2 },
  { name: 'SNR 3', snr: 3, bar: 2 },
  { name: '40 px shift', snr: 30, shift: [40, 0], bar: 1.4 },
  { name: '100 px shift', snr: 30, shift: [100, 0], bar: 1.4 },
  { name: 'limb, (30, 5) px', snr: 30, shift: [30, 5], limb: true, bar: 1.4 },
  { name: '3 % pattern, 7 px', snr: 30, shift: [7, 0], pattern: 0.03, bar: 2 },
  { name: '10 % pattern, 7 px', snr: 30, shift: [7, 0], pattern: 0.1, bar: 4 },
  { name: '5 deg, 2 %, SNR 100', snr: 100, turned: true, options: turned, bar: 1.5 },
  { name: '5 deg, 2 %, SNR 30', snr: 30, turned: true, options: turned, bar: 1.5 },
  { name: '5 deg, 2 %, SNR 10', snr: 10, turned: true, options: turned, bar: 1.5 },
];

const scenes = new Map();

function scene(seed, side = 640, limb = undefined) {
  const key = `${seed}/${side}/${limb ? 'limb' : ''}`;
  if (!scenes.has(key)) scenes.set(key, makeScene(seed, side, { limb }));
  return scenes.get(key);
}

/** Trial k of a row: both pictures, the pose moving px -> fixed px, the noise-free fixed picture with a border of 2 px. */
export function drawPair(row, k) {
  const random = createRandom(`${row.name}/${k}`);
  const ground = scene(`ground ${k % 4}`, 640, row.limb ? atLimb : undefined);
  const jitter = () => random.uniform() - 0.5;
  const shift = row.shift ? row.shift.map((v) => v + jitter()) : [6 * jitter(), 6 * jitter()];
  const rotationDeg = row.turned ? 10 * jitter() : 0;
  const scale = row.turned ? 1 + 0.04 * jitter() : 1;
  const middle = { x: (SIDE - 1) / 2, y: (SIDE - 1) / 2 };
  const pose = poseAbout(middle, { shiftX: shift[0], shiftY: shift[1], rotationDeg, scale });
  const x0 = 70 + 180 * random.uniform();
  const y0 = 70 + 240 * random.uniform();
  const place = (map) => ({ ...map, tx: map.tx + x0, ty: map.ty + y0 });
  const bordered = view(ground, SIDE + 4, { xx: 1, xy: 0, yx: 0, yy: 1, tx: x0 - 2, ty: y0 - 2 });
  const clean = [crop(bordered), view(ground, SIDE, place(pose))];
  const sigma = meanAndContrast(clean[0]).contrast / row.snr;
  const gains = row.pattern && Float32Array.from({ length: SIDE * SIDE }, () => 1 + row.pattern * random.normal());
  const [fixed, moving] = clean.map((picture) => {
    const data = gains ? picture.data.map((v, i) => v * gains[i]) : picture.data;
    return withNoise({ ...picture, data }, sigma, random);
  });
  return { fixed, moving, pose, rotationDeg, scale, sigma, bordered };
}

function crop(bordered) {
  const side = bordered.width - 4;
  const data = new Float32Array(side * side);
  for (let y = 0; y < side; y++) {
    const start = (y + 2) * bordered.width + 2;
    data.set(bordered.data.subarray(start, start + side), y * side);
  }
  return { width: side, height: side, data };
}

/** Variances of shift x, shift y (and turn, scale) that no method can go below, over the true overlap. */
export function boundOf({ bordered, pose, sigma }, row, centre) {
  const side = bordered.width - 4;
  const n = bordered.width;
  const d = bordered.data;
  const back = invert(pose);
  const gradientX = new Float32Array(side * side);
  const gradientY = new Float32Array(side * side);
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const mx = back.xx * x + back.xy * y + back.tx;
      const my = back.yx * x + back.yy * y + back.ty;
      if (!(mx >= 0 && my >= 0 && mx <= side - 1 && my <= side - 1)) continue;
      const i = (y + 2) * n + x + 2;
      gradientX[y * side + x] = (8 * (d[i + 1] - d[i - 1]) - (d[i + 2] - d[i - 2])) / 12;
      gradientY[y * side + x] = (8 * (d[i + n] - d[i - n]) - (d[i + 2 * n] - d[i - 2 * n])) / 12;
    }
  }
  const at = centre && {
    x: pose.xx * centre.x + pose.xy * centre.y + pose.tx,
    y: pose.yx * centre.x + pose.yy * centre.y + pose.ty,
  };
  const freedom = row.turned ? 'similarity' : 'shift';
  const bound = shiftBound({
    width: side,
    height: side,
    gradientX,
    gradientY,
    sigmaFixed: sigma,
    sigmaMoving: sigma,
    freedom,
    ...(at ? { centre: at } : {}),
  });
  const size = bound.parameters.length;
  return bound.parameters.map((_, j) => bound.matrix[j * size + j]);
}

const KINDS = [
  'other ground',
  'same scene, apart',
  'other limb',
  'noise',
  'noise and ground',
  'other ground, same pattern',
  'other ground, turned',
  'clipped or empty',
];

/** Trial k of the pairs without common ground. */
export function drawStrangers(k) {
  const kind = KINDS[k % KINDS.length];
  const random = createRandom(`strangers/${k}`);
  const snr = [100, 30, 10, 3][Math.floor(k / KINDS.length) % 4];
  const far = () => 4 + 370 * random.uniform();
  const take = (ground, x0, y0) => {
    const picture = view(ground, SIDE, { xx: 1, xy: 0, yx: 0, yy: 1, tx: x0, ty: y0 });
    return withNoise(picture, meanAndContrast(picture).contrast / snr, random);
  };
  const one = () => scene(`ground ${k % 4}`);
  const two = () => scene(`ground ${(k + 1 + (k % 3)) % 4}`);
  const noise = (sigma) =>
    withNoise({ width: SIDE, height: SIDE, data: new Float32Array(SIDE * SIDE).fill(0.2) }, sigma, random);
  if (kind === 'other ground') return { kind, fixed: take(one(), far(), far()), moving: take(two(), far(), far()) };
  if (kind === 'same scene, apart') {
    const at = random.uniform() < 0.5;
    return {
      kind,
      fixed: take(one(), at ? 4 + 50 * random.uniform() : far(), at ? far() : 4 + 50 * random.uniform()),
      moving: take(one(), at ? 325 + 50 * random.uniform() : far(), at ? far() : 325 + 50 * random.uniform()),
    };
  }
  if (kind === 'other limb') {
    const limbs = [0, 1].map((j) =>
      take(scene(`ground ${(k + j) % 4}`, 640, atLimb), 100 + 100 * random.uniform(), far()),
    );
    return { kind, fixed: limbs[0], moving: limbs[1] };
  }
  if (kind === 'noise') return { kind, fixed: noise(0.02), moving: noise(0.02) };
  if (kind === 'noise and ground') return { kind, fixed: noise(0.02), moving: take(one(), far(), far()) };
  if (kind === 'other ground, same pattern') {
    const gains = Float32Array.from({ length: SIDE * SIDE }, () => 1 + 0.03 * random.normal());
    const [fixed, moving] = [take(one(), far(), far()), take(two(), far(), far())].map((picture) => ({
      ...picture,
      data: picture.data.map((v, i) => v * gains[i]),
    }));
    return { kind, fixed, moving };
  }
  if (kind === 'other ground, turned')
    return { kind, fixed: take(one(), far(), far()), moving: take(two(), far(), far()), options: turned };
  const ground = take(one(), far(), far());
  const ends = [0, 1, Number.NaN];
  const blank = { width: SIDE, height: SIDE, data: new Float32Array(SIDE * SIDE).fill(ends[k % 3]) };
  const limit = 0.02;
  const clipped = { ...ground, data: ground.data.map((v) => Math.min(limit, v)) };
  const other = random.uniform() < 0.5 ? blank : clipped;
  return { kind, fixed: other, moving: random.uniform() < 0.3 ? other : take(two(), far(), far()) };
}

/** Big pairs at SNR 30 with shifts of some tens of pixels. */
export function timingPairs(count, side = 1024) {
  const ground = scene('big', side + 110);
  return Array.from({ length: count }, (_, k) => {
    const random = createRandom(`timing/${k}`);
    const [dx, dy] = [80 * (random.uniform() - 0.5), 80 * (random.uniform() - 0.5)];
    const at = (x, y, n) => view(ground, n, { xx: 1, xy: 0, yx: 0, yy: 1, tx: x, ty: y });
    const bordered = at(53, 53, side + 4);
    const fixed = crop(bordered);
    const moving = at(55 + dx, 55 + dy, side);
    const sigma = meanAndContrast(fixed).contrast / 30;
    const pose = { xx: 1, xy: 0, yx: 0, yy: 1, tx: dx, ty: dy };
    return { fixed: withNoise(fixed, sigma, random), moving: withNoise(moving, sigma, random), pose, sigma, bordered };
  });
}
