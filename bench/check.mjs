// What `check` finds: false alarms on good rehearsals, five faults put into one, and the time that it takes with frames of
// 4K and 16 bits beside that of decoding every frame of three passes of 200.
// Arguments: alarms, faults, speed (default: all three); a number of good rehearsals (default 50).
import { cp, mkdtemp, readdir, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { openFrame } from '../packages/core/dist/capture/open-frame.js';
import { AS_FILES_SAY } from '../packages/core/dist/capture/reading.js';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { checkCapture, REHEARSAL_DEFAULTS, rehearse } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';

const sharp = createRequire(new URL('../packages/core/package.json', import.meta.url))('sharp');
const words = process.argv.slice(2).filter((word) => !/^\d+$/.test(word));
const parts = words.length > 0 ? words : ['alarms', 'faults', 'speed'];
const count = Number(process.argv.find((word) => /^\d+$/.test(word)) ?? 50);

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
let missed = 0;
try {
  if (parts.includes('alarms')) await alarms();
  if (parts.includes('faults')) await faults();
  if (parts.includes('speed')) await speed();
} finally {
  await rm(scratch, { recursive: true, force: true });
}
process.exitCode = missed === 0 ? 0 : 1;

async function alarms() {
  const random = createRandom('good rehearsals');
  const between = (least, most) => least + (most - least) * random.uniform();
  const rows = [];
  for (let i = 0; i < count; i++) {
    const dir = join(scratch, 'good');
    const settings = {
      ...{ seed: 1000 + i, framesPerPass: Math.round(between(12, 26)), discDiameterPx: Math.round(between(650, 1150)) },
      ...{ frameWidthPx: 720, frameHeightPx: 480, phaseAngleDeg: between(5, 110), brightLimbDeg: between(-180, 180) },
      ...{
        maxRotationDeg: between(0, 2),
        gain: between(0.25, 0.7),
        gainSpread: between(0, 0.15),
        overlap: between(0.15, 0.3),
      },
      seeing: { ...REHEARSAL_DEFAULTS.seeing, blurPx: [0.9, between(1, 1.6)] },
    };
    await rehearse(dir, settings, { force: true });
    const { look } = await checkCapture(join(dir, 'capture'));
    for (const { kind, detail } of look.findings) rows.push([i, kind, detail]);
    if (look.findings.length > 0) missed++;
  }
  console.log(`${count} good rehearsals, ${new Set(rows.map(([i]) => i)).size} with an alarm`);
  if (rows.length > 0) printTable(['rehearsal', 'kind', 'detail'], rows);
}

async function faults() {
  const night = { seed: 21, framesPerPass: 24 };
  await rehearse(join(scratch, 'night'), night);
  await rehearse(join(scratch, 'soft'), { ...night, seeing: { ...REHEARSAL_DEFAULTS.seeing, blurPx: [2.8, 3.2] } });
  await rehearse(join(scratch, 'dim'), { ...night, gain: 0.2 });
  const frame = (i) => `frame_${String(i).padStart(4, '0')}.png`;
  const upper = (dir) => join(scratch, dir, 'capture', 'upper');
  const cases = {
    'missing cap': async (to) => {
      // The rows of the limb's last 0.1 radii, some 2 % of the disc, are taken off the upper pass.
      for (const name of await readdir(to)) await crop(join(to, name), 70);
    },
    clipped: async (to) => {
      for (const name of await readdir(to)) await brighten(join(to, name), 1.5);
    },
    soft: (to) => cp(upper('soft'), to, { recursive: true }),
    cloud: async (to) => {
      for (const i of [9, 10, 11, 12]) await cp(join(upper('dim'), frame(i)), join(to, frame(i)));
    },
    bump: (to) => shift(join(to, frame(12)), 25, 14),
  };
  const rows = [];
  for (const [name, change] of Object.entries(cases)) {
    const capture = join(scratch, `a capture: ${name}`);
    await cp(join(scratch, 'night', 'capture'), capture, { recursive: true });
    await change(join(capture, 'upper'));
    const { look, complete } = await checkCapture(capture);
    const wanted = { 'missing cap': 'missing', cloud: 'clouded', bump: 'bumped' }[name] ?? name;
    const isFound = look.findings.length === 1 && look.findings[0].kind === wanted;
    if (!isFound) missed++;
    rows.push([
      name,
      isFound ? 'found' : 'not found alone',
      complete ? 'will do' : 'shoot again',
      look.findings.map((f) => f.detail).join(' '),
    ]);
  }
  printTable(['fault', 'check', 'verdict', 'words'], rows);
}

async function speed() {
  const [passes, frames] = [3, 29];
  const dir = join(scratch, 'large');
  const size = { discDiameterPx: 4200, frameWidthPx: 3840, frameHeightPx: 2160, bits: 16 };
  await rehearse(dir, { ...size, seed: 5, passes, framesPerPass: frames });
  const names = await readdir(join(dir, 'capture', 'lower'));
  const began = performance.now();
  const paths = names.slice(0, 12).map((name) => join(dir, 'capture', 'lower', name));
  // Two at a time, as there are two threads.
  const decodeAll = async (own) => {
    for (const path of own) {
      const { width, height, rows } = await openFrame({
        path,
        encoding: { ...AS_FILES_SAY, table: null },
        calibration: null,
      });
      rows(
        0,
        [0, 1, 2].map(() => new Float32Array(width * height)),
      );
    }
  };
  await Promise.all([decodeAll(paths.filter((_, i) => i % 2 === 0)), decodeAll(paths.filter((_, i) => i % 2 === 1))]);
  const perFrame = (performance.now() - began) / 1000 / paths.length;
  const start = performance.now();
  let first = 0;
  await checkCapture(join(dir, 'capture'), {
    workers: 2,
    onListed: () => {
      first = (performance.now() - start) / 1000;
    },
  });
  const whole = (performance.now() - start) / 1000;
  const all = perFrame * 600;
  const share = whole / all;
  if (share > 0.25 || first > 5) missed++;
  printTable(
    ['first answer s (<= 5)', 'whole answer s', 'decoding 600 frames s', 'share (<= 0.25)'],
    [[first.toFixed(2), whole.toFixed(1), all.toFixed(0), share.toFixed(2)]],
  );
  console.log(
    `A check of 200 frames looks at ${frames} of each pass; decoding all is told from ${paths.length} frames.`,
  );
}

async function edit(file, change) {
  const { data, info } = await sharp(file).raw().toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  const raw = { width, height, channels };
  await sharp(change(data, raw), { raw }).png().toFile(file);
}

/** Takes rows off the top, and as many black ones on at the bottom. */
function crop(file, rows) {
  return edit(file, (data, { width, channels }) => {
    const kept = data.subarray(rows * width * channels);
    return Buffer.concat([kept, Buffer.alloc(data.length - kept.length, 2)]);
  });
}

function brighten(file, factor) {
  return edit(file, (data) => Buffer.from(data.map((code) => Math.min(255, factor * code))));
}

function shift(file, right, down) {
  return edit(file, (data, { width, channels }) => {
    const at = (down * width + right) * channels;
    return Buffer.concat([data.subarray(at), data.subarray(0, at)]);
  });
}
