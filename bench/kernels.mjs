// The WebAssembly kernels beside the plain TypeScript that they stand for, and the Fourier transform beside others.
// Every row is interleaved; figures are medians of the processor time of this process, so that others on the machine
// disturb little. Arguments: parts of names; none runs all.
// Compares with @echogarden/pffft-wasm when PFFFT names the folder of that package, and with scipy when /usr/bin/python3
// has it; says so when not.
import { execFileSync } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import ts from 'typescript';
import { printMachine, printTable } from './machine.mjs';

const load = (name) => import(`../packages/core/dist/${name}.js`);
const { poseAbout, translation } = await load('compute/affine');
const { withKernels } = await load('compute/kernels');
const { createRandom } = await load('compute/random');
const RUNS = 9;
const chosen = process.argv.slice(2);

printMachine();
process.stdout.write(
  `AssemblyScript ${createRequire(import.meta.url)('assemblyscript/package.json').version}, median processor time of ${RUNS} runs, ms\n\n`,
);
const rows = [];
await filters();
await resampling();
await equations();
await accumulation();
await transforms();
printTable(['kernel', 'size', 'plain', 'kernel', 'kernel on held data', 'plain / kernel'], rows);
await otherTransforms();

/** Times the plain function, the kernel on plain arrays and, when given, on held ones. */
function compare(name, size, plain, kernel, held) {
  if (chosen.length > 0 && !chosen.some((part) => name.includes(part))) return;
  const times = [[], [], []];
  for (let run = 0; run <= RUNS; run++) {
    for (const [k, work] of [plain, kernel, held].entries()) {
      if (!work) continue;
      const ms = once(work);
      // The first round compiles and grows the memory.
      if (run > 0) times[k].push(ms);
    }
  }
  const [a, b, c] = times.map(median);
  const shown = (t) => (t === undefined ? '-' : t.toFixed(2));
  rows.push([name, size, shown(a), shown(b), shown(c), a === undefined ? '-' : (a / b).toFixed(1)]);
}

function median(times) {
  return [...times].sort((p, q) => p - q)[times.length >> 1];
}

function noise(width, height, seed) {
  const random = createRandom(seed);
  const data = new Float32Array(width * height);
  for (let i = 0; i < data.length; i++) data[i] = 0.2 + 0.1 * random.uniform();
  return { width, height, data };
}

/** The plain functions that tests compare with, made JavaScript. */
async function loadPlain(name) {
  const source = readFileSync(new URL(`../packages/core/test/${name}.ts`, import.meta.url), 'utf8');
  const options = { module: ts.ModuleKind.ESNext, target: ts.ScriptTarget.ES2022 };
  const { outputText } = ts.transpileModule(source, { compilerOptions: options });
  const built = outputText.replaceAll('../src/', new URL('../packages/core/dist/', import.meta.url).href);
  return import(`data:text/javascript,${encodeURIComponent(built)}`);
}

async function filters() {
  const { plainBin, plainBlur, plainGradient } = await loadPlain('plain-kernels');
  const { binWithKernels, blurWithKernels, gradientWithKernels } = await load('compute/kernels-filter');
  const plane = noise(1024, 1024, 1);
  for (const sigma of [1, 8, 24]) {
    const name = `Gaussian blur, sigma ${sigma}`;
    compare(
      name,
      '1024²',
      () => plainBlur(plane, sigma),
      () => blurWithKernels(plane, sigma),
    );
  }
  for (const factor of [2, 4]) {
    compare(
      `binning ${factor} x`,
      '1024²',
      () => plainBin(plane, factor),
      () => binWithKernels(plane, factor),
    );
  }
  compare(
    'gradients',
    '1024²',
    () => plainGradient(plane),
    () => gradientWithKernels(plane),
  );
}

async function resampling() {
  const { plainWarp } = await loadPlain('plain-kernels');
  const { resampleWithKernels } = await load('compute/kernels-resample');
  const plane = noise(1024, 1024, 2);
  for (const [name, pose] of poses()) {
    const cubic = () => resampleWithKernels(plane, pose, 1024, 1024);
    compare(`cubic, ${name}`, '1024²', () => plainWarp(plane, pose, 1024, 1024), cubic);
    const lanczos = () => resampleWithKernels(plane, pose, 1024, 1024, { kernel: 'lanczos' });
    compare(`Lanczos 3, ${name}`, '1024²', undefined, lanczos);
  }
}

function poses() {
  return [
    ['shift', translation(3.3, -2.4)],
    ['affine', poseAbout({ x: 500, y: 500 }, { shiftX: 3.3, shiftY: -2.4, rotationDeg: 1.5, scale: 1.01 })],
  ];
}

async function equations() {
  const { pairBlocks } = await loadPlain('plain-pair-sums');
  const { TAP_STEPS, tapTable } = await load('registration/pair-taps');
  const { plainGradient, plainPoseSums } = await loadPlain('plain-kernels');
  const { blockSums } = await load('compute/kernels-pair-sums');
  const { poseSums } = await load('compute/kernels-pose-sums');
  const taps = { weights: tapTable(), steps: TAP_STEPS };
  const variance = new Float32Array(1024 * 1024).fill(1);
  const a = { ...noise(1024, 1024, 3), variance };
  const b = { ...noise(1024, 1024, 4), variance };
  const gradient = plainGradient(a);
  const fixed = { ...a, gradientX: gradient.x, gradientY: gradient.y };
  for (const [name, pose] of poses()) {
    withKernels((scope) => {
      const hold = (p) => Object.fromEntries(Object.entries(p).map(([k, v]) => [k, v.length ? scope.put(v) : v]));
      const [p, q, f] = [hold(a), hold(b), hold(fixed)];
      const blocks = (x, y) => () => blockSums(x, y, pose, 1.01, 0.002, 32, taps);
      compare(`pair sums, ${name}`, '1024²', () => pairBlocks(a, b, pose, 1.01, 0.002, 32), blocks(a, b), blocks(p, q));
      const about = { parameters: 3, centre: { x: 500, y: 500 }, reachPx: 700, stridePx: 2 };
      const sums = (x, y) => () => poseSums({ fixed: x, moving: y, pose, ...about });
      const plain = () => plainPoseSums({ fixed, moving: b, pose, ...about });
      compare(`pose sums, ${name}`, '1024² / 2²', plain, sums(fixed, b), sums(f, q));
    });
  }
}

async function accumulation() {
  const { plainAccumulate } = await loadPlain('plain-accumulate');
  const { accumulateWithKernels } = await load('compute/kernels-accumulate');
  const planes = (n, size) => Array.from({ length: n }, (_, k) => noise(size, 1, k).data);
  for (const [name, plateToFrame] of poses()) {
    for (const channels of [1, 3]) {
      const sums = {
        width: 1400,
        height: 1100,
        x0: -60,
        y0: -20,
        planes: planes(channels, 1400 * 1100),
        weight: new Float32Array(1400 * 1100),
      };
      const frame = { width: 1280, height: 1024, planes: planes(channels, 1280 * 1024) };
      const input = { sums, rows: [0, 1100], frame, plateToFrame, frameWeight: 1, featherPx: 40 };
      const size = `1280 x 1024 x ${channels}`;
      compare(
        `accumulation, ${name}`,
        size,
        () => plainAccumulate(input),
        () => accumulateWithKernels(input),
      );
    }
  }
}

async function transforms() {
  const { createComplexField, fft2 } = await load('compute/fft');
  const { forwardSpectrum, holdSpectrum, inverseSpectrum, releaseSpectrum } = await load('compute/kernels-fft');
  const { phaseCorrelation } = await load('compute/kernels-correlate');
  for (const [width, height] of [
    [512, 512],
    [1024, 1024],
    [1920, 1080],
    [2048, 2048],
  ]) {
    const plane = noise(width, height, 5);
    const isPower = width === height;
    const field = isPower ? createComplexField(width, height) : undefined;
    const plain = (direction) => field && (() => fft2(field, direction));
    const spectrum = forwardSpectrum(plane);
    withKernels((scope) => {
      const held = { ...plane, data: scope.put(plane.data) };
      const there = () => withKernels(() => holdSpectrum(scope, held, width, height));
      compare('FFT', `${width} x ${height}`, plain('forward'), () => forwardSpectrum(plane), there);
      const kept = holdSpectrum(scope, held, width, height);
      const back = () => withKernels(() => releaseSpectrum(scope, kept));
      compare('inverse FFT', `${width} x ${height}`, plain('inverse'), () => inverseSpectrum(spectrum), back);
    });
  }
  for (const side of [512, 1024, 2048]) {
    const [a, b] = [noise(side / 2, side / 2, 6), noise(side / 2, side / 2, 7)];
    const field = createComplexField(side, side);
    // The plain way packs both pictures into one complex field; whitening is left out of its time.
    const plain = () => {
      fft2(field, 'forward');
      fft2(field, 'inverse');
    };
    const both = { width: side, height: side };
    compare('phase correlation', `2 in ${side}²`, plain, () => phaseCorrelation(a, b, both));
  }
}

/** The forward transform of a real picture by others, interleaved with ours. */
async function otherTransforms() {
  if (chosen.length > 0 && !chosen.includes('FFT')) return;
  const { holdSpectrum } = await load('compute/kernels-fft');
  const pffft = await loadPffft();
  const table = [];
  for (const side of [1024, 2048]) {
    const plane = noise(side, side, 8);
    withKernels((scope) => {
      const held = { ...plane, data: scope.put(plane.data) };
      const ours = [];
      const theirs = [];
      const run = pffft && rowsAndColumns(pffft, side);
      for (let k = 0; k <= RUNS; k++) {
        ours.push(once(() => withKernels(() => holdSpectrum(scope, held, side, side))));
        if (run) theirs.push(once(run));
      }
      const shown = (times) => (times.length > 0 ? median(times.slice(1)).toFixed(1) : '-');
      table.push([`${side}²`, shown(ours), shown(theirs), scipyMs(side)]);
    });
  }
  printTable(['real FFT', 'kernels', 'pffft, rows and columns without transposition', 'scipy rfft2'], table);
}

function once(work) {
  const before = process.cpuUsage();
  work();
  const { user, system } = process.cpuUsage(before);
  return (user + system) / 1000;
}

async function loadPffft() {
  const folder = process.env.PFFFT;
  if (!folder || !existsSync(folder)) {
    process.stdout.write('pffft left out: the variable PFFFT names no folder of @echogarden/pffft-wasm\n');
    return undefined;
  }
  const file = pathToFileURL(join(folder, 'dist', 'simd', 'pffft.js')).href;
  return (await import(file)).default();
}

/** side real transforms of rows, side/2 complex ones of as many numbers for the columns, over and over on one buffer. */
function rowsAndColumns(module, side) {
  const REAL = 0;
  const COMPLEX = 1;
  const FORWARD = 0;
  const rowSetup = module._pffft_new_setup(side, REAL);
  const columnSetup = module._pffft_new_setup(side, COMPLEX);
  const buffer = module._pffft_aligned_malloc(side * side * 4);
  const work = module._pffft_aligned_malloc(side * 8);
  return () => {
    module.HEAPF32.fill(0.5, buffer >> 2, (buffer >> 2) + side * side);
    for (let y = 0; y < side; y++) {
      const row = buffer + y * side * 4;
      module._pffft_transform_ordered(rowSetup, row, row, work, FORWARD);
    }
    for (let x = 0; x < side / 2; x++) {
      const column = buffer + x * side * 8;
      module._pffft_transform_ordered(columnSetup, column, column, work, FORWARD);
    }
  };
}

function scipyMs(side) {
  const code = `
import time, numpy, scipy.fft
a = numpy.random.default_rng(1).random((${side}, ${side}), dtype=numpy.float32)
times = []
for _ in range(${RUNS + 1}):
    t = time.process_time(); scipy.fft.rfft2(a, workers=1); times.append(time.process_time() - t)
print(1e3 * sorted(times[1:])[${RUNS} // 2])`;
  try {
    return Number(
      execFileSync('/usr/bin/python3', ['-c', code], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }),
    ).toFixed(1);
  } catch {
    return 'no scipy here';
  }
}
