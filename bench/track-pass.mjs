// The passes of track.mjs: a body drifting through a small frame, its truth, and what ruins a frame.
import { AS_FILES_SAY } from '../packages/core/dist/capture/reading.js';
import { gaussianBlur } from '../packages/core/dist/compute/gaussian.js';
import { createPlane, rowsOf } from '../packages/core/dist/compute/image.js';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { cubicAt } from '../packages/core/dist/compute/sample.js';
import { reduceToBlocks } from '../packages/core/dist/quality/blocks.js';
import { noiseSigma } from '../packages/core/dist/quality/noise.js';
import { surveyFrame } from '../packages/core/dist/quality/survey.js';

export const WIDTH = 320;
export const HEIGHT = 240;
const RADIUS = 230;
const TILT = 0.3;
const NOISE = 0.008;
/** Drift a frame; the field turns by tan δ of the drift, δ 28.5°, on a disc 0.52° wide. */
const TURN_PER_PX = ((0.52 / (2 * RADIUS)) * Math.PI * Math.tan((28.5 * Math.PI) / 180)) / 180;
const HEADING = 0.12;

const scenes = [0.6, 0.9, 1.2].map(createScene);

/** The body at twice the frame's scale, blurred by sigma frame px. */
function createScene(sigma) {
  const random = createRandom('track scene');
  const side = 2 * (2 * RADIUS + 60);
  const height = new Float64Array(side * side);
  const middle = (side - 1) / 2;
  for (let n = 0; n < 5000; n++) {
    const [x, y] = [side * random.uniform(), side * random.uniform()];
    const s = 2 * (1.4 + 3.6 * random.uniform());
    const a = 0.35 * random.normal();
    const reach = Math.ceil(5 * s);
    for (let j = Math.max(0, Math.floor(y) - reach); j < Math.min(side, y + reach); j++) {
      for (let i = Math.max(0, Math.floor(x) - reach); i < Math.min(side, x + reach); i++) {
        height[j * side + i] += a * Math.exp(-((i - x) ** 2 + (j - y) ** 2) / (2 * s * s));
      }
    }
  }
  const plane = createPlane(side, side);
  for (let j = 0; j < side; j++) {
    for (let i = 0; i < side; i++) {
      const r = Math.hypot(i - middle, j - middle) / (2 * RADIUS);
      const edge = 1 / (1 + Math.exp(((r - 1) * 2 * RADIUS) / 0.7));
      const shade = 0.22 + 0.1 * ((i - middle) / side);
      plane.data[j * side + i] = shade * edge * Math.exp(height[j * side + i]);
    }
  }
  return { ...gaussianBlur(plane, 2 * sigma), middle };
}

/** A recorded pass with its truth: time, centre and turn of each frame, and what was done to it. */
export function createPass(count, ruin, seed) {
  const random = createRandom(`track pass ${seed}`);
  const px = (2 * RADIUS + WIDTH - 130) / (count * (ruin ? 1.06 : 1));
  const marks = Array.from({ length: count }, () => 'good');
  const lost = new Map();
  if (ruin) {
    const free = (from, n) => Array.from({ length: n }, (_, k) => marks[from + k]).every((m) => m === 'good');
    const place = (kind, n) => {
      for (let tries = 0; tries < 999; tries++) {
        const from = 3 + Math.floor(random.uniform() * (count - n - 6));
        if (!free(from - 1, n + 2)) continue;
        for (let k = 0; k < n; k++) marks[from + k] = `${kind}${k}`;
        return from;
      }
      throw new Error('no room');
    };
    const share = (part) => Math.round(count * part);
    for (let k = 0; k < share(0.035); k++) place('doubled', 1);
    for (let k = 0; k < share(0.03); k++) place('motion', 1);
    for (let k = 0; k < share(0.01); k++) place('bump', 6);
    for (let k = 0; k < share(0.01); k++) place('cloud', 4);
    for (let k = 0; k < share(0.01); k++) place('empty', 2);
    for (let k = 0; k < share(0.03); k++) lost.set(place('good', 1), 1 + Math.floor(3 * random.uniform()));
    for (let k = 0; k < count; k++) if (marks[k] === 'good0') marks[k] = 'good';
  }
  const frames = [];
  let time = 0;
  let bump = { x: 0, y: 0 };
  for (let k = 0; k < count; k++) {
    if (k > 0) time += 1 + (lost.get(k) ?? 0);
    const mark = marks[k].replace(/\d+$/, '');
    const nth = Number(marks[k].match(/\d+$/)?.[0] ?? 0);
    const tilt = { x: TILT * random.normal(), y: TILT * random.normal() };
    const sharp = Math.floor(3 * random.uniform());
    if (mark === 'bump' && nth === 0) {
      const angle = 2 * Math.PI * random.uniform();
      const size = 14 + 16 * random.uniform();
      bump = { x: size * Math.cos(angle), y: size * Math.sin(angle) };
    }
    const decay = mark === 'bump' ? 0.62 ** nth : 0;
    if (mark === 'doubled') {
      frames.push({ ...frames[k - 1], time, mark, light: frames[k - 1].light });
      continue;
    }
    const course = courseAt(time, px);
    const at = { x: course.x + tilt.x + decay * bump.x, y: course.y + tilt.y + decay * bump.y, turn: course.turn };
    const off = Math.hypot(decay * bump.x, decay * bump.y);
    const gain = mark === 'cloud' ? 0.1 + 0.4 * random.uniform() : 1;
    const veil = mark === 'cloud' ? 0.05 * (1 - gain) : 0;
    const smear =
      mark === 'motion' ? { angle: 2 * Math.PI * random.uniform(), px: 14 + 10 * random.uniform() } : undefined;
    const light =
      mark === 'empty' ? sky(random.fork(`${k}`)) : record(scenes[sharp], at, gain, veil, smear, random.fork(`${k}`));
    frames.push({ time, mark, tilt, at, off, sharp, light });
  }
  return { px, frames, lost };
}

/** Where the frame's centre lies on the body and how it is turned: a turn about the far pole. */
export function courseAt(time, px) {
  const along = 65 - RADIUS - WIDTH / 2 + px * time;
  const phi = along * TURN_PER_PX;
  const rho = 1 / TURN_PER_PX;
  const [u, v] = [rho * Math.sin(phi), rho * (1 - Math.cos(phi))];
  return {
    x: u * Math.cos(HEADING) - v * Math.sin(HEADING),
    y: u * Math.sin(HEADING) + v * Math.cos(HEADING),
    turn: phi,
  };
}

function record(scene, at, gain, veil, smear, random) {
  const plane = createPlane(WIDTH, HEIGHT, true);
  const [c, s] = [Math.cos(at.turn), Math.sin(at.turn)];
  const steps = smear ? 12 : 1;
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      const [p, q] = [x - (WIDTH - 1) / 2, y - (HEIGHT - 1) / 2];
      let sum = 0;
      for (let k = 0; k < steps; k++) {
        const along = smear ? smear.px * ((k + 0.5) / steps - 0.5) : 0;
        const u = at.x + c * p - s * q + (smear ? along * Math.cos(smear.angle) : 0);
        const v = at.y + s * p + c * q + (smear ? along * Math.sin(smear.angle) : 0);
        sum += cubicAt(scene.data, scene.width, scene.height, 2 * u + scene.middle, 2 * v + scene.middle);
      }
      plane.data[y * WIDTH + x] = 0.01 + veil + (gain * sum) / steps + NOISE * random.normal();
    }
  }
  return plane;
}

/**
 * Cramér–Rao bound of the good frames' shifts, rms px per axis over every eighth of them: what noise alone leaves when the
 * ground, its light and the turn are known. Nothing that measures frames against each other can do better.
 */
export function bound(pass) {
  const variances = pass.frames
    .filter((f, k) => f.mark === 'good' && k % 8 === 0)
    .map(({ at, sharp }) => {
      const scene = scenes[sharp];
      const [c, s] = [Math.cos(at.turn), Math.sin(at.turn)];
      const value = (u, v) =>
        cubicAt(scene.data, scene.width, scene.height, 2 * u + scene.middle, 2 * v + scene.middle);
      let [xx, xy, yy] = [0, 0, 0];
      for (let y = 0; y < HEIGHT; y++) {
        for (let x = 0; x < WIDTH; x++) {
          const [p, q] = [x - (WIDTH - 1) / 2, y - (HEIGHT - 1) / 2];
          const [u, v] = [at.x + c * p - s * q, at.y + s * p + c * q];
          const gx = 2 * (value(u + 0.25, v) - value(u - 0.25, v));
          const gy = 2 * (value(u, v + 0.25) - value(u, v - 0.25));
          xx += gx * gx;
          xy += gx * gy;
          yy += gy * gy;
        }
      }
      return (NOISE ** 2 * (xx + yy)) / (2 * (xx * yy - xy * xy));
    });
  return Math.sqrt(variances.reduce((sum, v) => sum + v, 0) / variances.length);
}

function sky(random) {
  const plane = createPlane(WIDTH, HEIGHT, true);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = 0.01 + NOISE * random.normal();
  return plane;
}

export function graded(pass, name) {
  return {
    pass: { name },
    binFactor: 1,
    reading: { encoding: { ...AS_FILES_SAY, curve: 'linear', table: null }, calibration: null },
    defects: new Uint32Array(0),
    leftOut: [],
    frames: pass.frames.map(({ light }, index) => {
      const [near, far] = [gaussianBlur(light, 0.7), gaussianBlur(light, 1.6)];
      const fine = createPlane(WIDTH, HEIGHT);
      for (let i = 0; i < fine.data.length; i++) fine.data[i] = near.data[i] - far.data[i];
      const noise = noiseSigma(light);
      const variance =
        noise ** 2 * (1 / (4 * Math.PI * 0.49) + 1 / (4 * Math.PI * 2.56) - 1 / (Math.PI * (0.49 + 2.56)));
      const blocks = reduceToBlocks(
        surveyFrame(rowsOf({ width: WIDTH, height: HEIGHT, planes: [light.data] }), 1, noise),
        fine,
        variance,
      );
      return { index, item: `${name}/${index}`, path: '', sha256: `${name}-${index}`, grade: {}, blocks, proxy: light };
    }),
  };
}
