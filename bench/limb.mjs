// The limb fit at SNR 20, blur FWHM 3 px, on drawn discs: arcs of 60 degrees whose centre lies outside the picture, flat or
// lit as the Moon is; opposite arcs; discs squeezed by 0.998; ground with patches; an edge that the air bends. Many noises
// (and patches and bends) each. Prints the rms errors beside the Cramér–Rao bound with all else known, and the mean of the
// normalised squared error, which is 1 when the stated covariance is true. Time is that of the processor.
// Arguments: trials (200; a quarter for the disturbed), part of a case's name.
import { gaussianBlur } from '../packages/core/dist/compute/gaussian.js';
import { createPlane } from '../packages/core/dist/compute/image.js';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { bilinearAt } from '../packages/core/dist/compute/sample.js';
import { invertSymmetric } from '../packages/core/dist/compute/small-solve.js';
import { findLimb } from '../packages/core/dist/placement/limb.js';
import { printMachine, printTable } from './machine.mjs';

const trials = Number(process.argv[2] ?? 200);
const wanted = process.argv[3] ?? '';
const LEVEL = 0.5;
const NOISE = LEVEL / 20;
const SKY = 0.02;
const BLUR_PX = 3 / 2.3548;
/** Drawn around the picture and cut off, so that the blur sees no border. */
const MARGIN_PX = 8;

const flat = () => LEVEL;
// Lommel–Seeliger, phase angle 60 degrees, the Sun towards +x.
const moon = (x, _y, mu) => {
  const sun = x * Math.sin(Math.PI / 3) + mu * Math.cos(Math.PI / 3);
  return sun <= 0 ? 0 : (1.5 * LEVEL * sun) / (sun + mu);
};

const CASES = [
  ...[500, 800, 1200].flatMap((radiusPx) => [
    { name: `flat ${radiusPx}`, light: flat, ...arc(radiusPx, 60) },
    { name: `moon ${radiusPx}`, light: moon, ...arc(radiusPx, 60) },
  ]),
  { name: 'two arcs 400', light: flat, ...twoArcs(400, 60) },
  { name: 'squeezed 800, 60°', light: moon, ...arc(800, 60), stretch: 0.998, askStretch: true },
  { name: 'squeezed 800, 120°', light: moon, ...arc(800, 120), stretch: 0.998, askStretch: true },
  // Reflectance differs by 15 % rms over 8 px of the ground, seen ever flatter towards the limb.
  { name: 'patches 800', light: moon, ...arc(800, 60), patches: 0.15 },
  // The edge is displaced by 0.3 px rms over 20 px along it.
  { name: 'bends 800', light: moon, ...arc(800, 60), bendsPx: 0.3, alongPx: 20 },
  { name: 'long bends 800', light: moon, ...arc(800, 120), bendsPx: 0.3, alongPx: 60 },
  { name: 'patches, bends', light: moon, ...arc(800, 60), patches: 0.15, bendsPx: 0.3, alongPx: 20 },
];

printMachine();
printTable(
  ['case', 'trials', 'found', 'rms x', 'y', 'radius', 'stretch', 'bound x', 'y', 'radius', 'stretch', 'NEES', 'ms'],
  CASES.filter(({ name }) => name.includes(wanted)).map(runCase),
);

function arc(radiusPx, degrees) {
  const half = (degrees * Math.PI) / 360;
  const edge = Math.min(0.8, Math.cos(half)) * radiusPx;
  const [width, height] = [Math.ceil(1.1 * radiusPx - edge), Math.ceil(2 * radiusPx * Math.sin(half))];
  return { width, height, centreX: -edge - 0.3, centreY: radiusPx * Math.sin(half) + 0.2, radiusPx, stretch: 1 };
}

/** Left and right limb of a disc that is cut off above and below. */
function twoArcs(radiusPx, degrees) {
  const half = (degrees * Math.PI) / 360;
  const [width, height] = [Math.ceil(2.2 * radiusPx), Math.ceil(2 * radiusPx * Math.sin(half))];
  return {
    width,
    height,
    centreX: 1.1 * radiusPx - 0.3,
    centreY: radiusPx * Math.sin(half) + 0.2,
    radiusPx,
    stretch: 1,
  };
}

function runCase(scene) {
  const unknowns = scene.askStretch ? 4 : 3;
  const isDisturbed = Boolean(scene.patches || scene.bendsPx);
  const plain = draw(scene);
  // Disturbed scenes are drawn anew each time.
  const rounds = isDisturbed ? Math.ceil(trials / 4) : trials;
  const sums = new Array(unknowns).fill(0);
  let normalised = 0;
  let found = 0;
  let spentMs = 0;
  for (let trial = 0; trial < rounds; trial++) {
    const random = createRandom(`${scene.name} ${trial}`);
    const clean = isDisturbed ? draw(disturbed(scene, random)) : plain;
    const noisy = { ...clean, data: clean.data.map((v) => v + SKY + NOISE * random.normal()) };
    const started = process.cpuUsage().user;
    const fit = findLimb(noisy, undefined, { stretch: scene.askStretch === true });
    spentMs += (process.cpuUsage().user - started) / 1000;
    if (!fit) continue;
    found++;
    const names = ['centreX', 'centreY', 'radiusPx', 'stretch'].slice(0, unknowns);
    const e = names.map((name) => fit[name] - scene[name]);
    const precision = invertSymmetric(Float64Array.from(fit.covariance), unknowns);
    e.forEach((v, i) => {
      sums[i] += v * v;
      e.forEach((w, j) => {
        normalised += (v * w * precision[unknowns * i + j]) / unknowns;
      });
    });
  }
  const rms = sums.map((s) => Math.sqrt(s / found));
  return [
    scene.name,
    rounds,
    found,
    ...columns(rms),
    ...columns(boundOf(scene, unknowns)),
    (normalised / found).toFixed(2),
    (spentMs / rounds).toFixed(0),
  ];
}

function columns(values) {
  return [...values.slice(0, 3).map((v) => v.toFixed(3)), values.length > 3 ? values[3].toFixed(5) : ''];
}

/** The scene with random patches of ground and a random edge. */
function disturbed(scene, random) {
  const { radiusPx, patches = 0, bendsPx = 0, alongPx = 1 } = scene;
  const around = Math.ceil(2 * Math.PI * radiusPx);
  const ground = smoothNoise(random, around, Math.ceil(0.5 * radiusPx), 8 / 2.5);
  const bends = smoothNoise(random, around, 1, alongPx / 2.5);
  const along = (x, y) => ((Math.atan2(y, x) / (2 * Math.PI) + 0.5) * (around - 2)) | 0;
  return {
    ...scene,
    light: (x, y, mu) => {
      const depth = Math.min(ground.height - 2, Math.asin(Math.min(1, mu)) * radiusPx);
      return scene.light(x, y, mu) * (1 + patches * bilinearAt(ground.data, around, ground.height, along(x, y), depth));
    },
    edgePx: (x, y) => bendsPx * bends.data[along(x, y)],
  };
}

function smoothNoise(random, width, height, sigmaPx) {
  const plane = createPlane(width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = random.normal();
  const smooth = gaussianBlur(plane, sigmaPx);
  const rms = Math.sqrt(smooth.data.reduce((sum, v) => sum + v * v, 0) / smooth.data.length);
  return { width, height, data: smooth.data.map((v) => v / rms) };
}

/** Area samples of a blurred disc: drawn three times finer, blurred, averaged. */
function draw({ width, height, centreX, centreY, radiusPx, stretch, light, edgePx = () => 0 }) {
  const fine = createPlane((width + 2 * MARGIN_PX) * 3, (height + 2 * MARGIN_PX) * 3);
  for (let j = 0; j < fine.height; j++) {
    for (let i = 0; i < fine.width; i++) {
      const x = ((i - 1) / 3 - MARGIN_PX - centreX) / radiusPx;
      const y = ((j - 1) / 3 - MARGIN_PX - centreY) / (radiusPx * stretch);
      const r = Math.hypot(x, y);
      if (r > 1.05) continue;
      const share = Math.min(1, Math.max(0, ((1 - r) * radiusPx + edgePx(x, y)) * 3 + 0.5));
      if (share > 0) fine.data[j * fine.width + i] = share * light(x, y, Math.sqrt(Math.max(0, 1 - r * r)));
    }
  }
  const blurred = gaussianBlur(fine, 3 * BLUR_PX);
  const plane = createPlane(width, height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = 3 * (y + MARGIN_PX) * fine.width + 3 * (x + MARGIN_PX);
      let sum = 0;
      for (let v = 0; v < 3; v++) for (let u = 0; u < 3; u++) sum += blurred.data[at + v * fine.width + u];
      plane.data[y * width + x] = sum / 9;
    }
  }
  return plane;
}

/** Cramér–Rao bound with all else known: Fisher information by central differences of the drawing. */
function boundOf(scene, unknowns) {
  const steps = { centreX: 0.25, centreY: 0.25, radiusPx: 0.25, stretch: 0.25 / scene.radiusPx };
  const derivatives = Object.entries(steps)
    .slice(0, unknowns)
    .map(([name, h]) => {
      const up = draw({ ...scene, [name]: scene[name] + h });
      const down = draw({ ...scene, [name]: scene[name] - h });
      return up.data.map((v, i) => (v - down.data[i]) / (2 * h));
    });
  const fisher = new Float64Array(unknowns * unknowns);
  derivatives.forEach((a, i) => {
    derivatives.forEach((b, j) => {
      fisher[unknowns * i + j] = a.reduce((sum, v, k) => sum + v * b[k], 0) / NOISE ** 2;
    });
  });
  const covariance = invertSymmetric(fisher, unknowns);
  return derivatives.map((_, k) => Math.sqrt(covariance[(unknowns + 1) * k]));
}
