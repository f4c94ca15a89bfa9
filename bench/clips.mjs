// The rate at which clips are decoded, beside `ffmpeg -f null` on the same clip, turn by turn and with two threads each. The bar
// is for decoding alone, since FFmpeg's pictures go nowhere; what it takes to keep all codes on disk besides, as a stitch
// does, is told, and what that takes where FFmpeg's programs stand in for its libraries. A clip that keeps its codes as they
// are is not decoded: there the time is that of reading the codes of every picture from the clip, as a stitch does. Needs FFmpeg on the PATH, with libx264 and libx265. Argument: turns per clip, 3 by default.
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtemp, rm, truncate, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { frameBytes, layoutOf } from '../packages/core/dist/capture/clip-layout.js';
import { picturesOnPath } from '../packages/core/dist/capture/clip-on-path.js';
import { rowReader } from '../packages/core/dist/capture/clip-window.js';
import { runClipChild } from '../packages/core/dist/capture/run-clip-child.js';
import { printMachine, printTable } from './machine.mjs';

const BAR = 1.2;
const THREADS = 2;
/** Rows that a stitch reads at a time. */
const BAND_ROWS = 64;
const turns = Number(process.argv[2] ?? 3);

/** Noise over slow shapes, as a sensor gives it: size, pictures, how it is kept. */
const CLIPS = [
  ['h264.mp4', '1920x1080', 240, 'yuv420p', '-c:v libx264 -preset veryfast -crf 20'],
  ['hevc.mp4', '2560x1440', 60, 'yuv420p10le', '-c:v libx265 -preset ultrafast -crf 20 -x265-params log-level=none'],
  ['prores.mov', '1920x1080', 240, 'yuv422p10le', '-c:v prores_ks -profile:v 3'],
  ['dnxhr.mov', '1920x1080', 240, 'yuv422p10le', '-c:v dnxhd -profile:v dnxhr_hqx'],
  ['ffv1.mkv', '1920x1080', 48, 'yuv422p10le', '-c:v ffv1 -level 3 -slices 4 -g 1'],
  ['raw.avi', '1920x1080', 480, 'yuv420p', '-c:v rawvideo'],
];

printMachine();
console.log(execFileSync('ffmpeg', ['-version'], { encoding: 'utf8' }).split('\n')[0]);
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
const rows = [];
let missed = 0;
try {
  for (const [name, size, pictures, pixels, options] of CLIPS) {
    const path = join(scratch, name);
    const source = `testsrc2=s=${size}:r=24,noise=alls=4:allf=t`;
    const made = `-y -v error -f lavfi -i ${source} -frames:v ${pictures} -pix_fmt ${pixels} ${options}`.split(' ');
    execFileSync('ffmpeg', [...made, path], { stdio: ['ignore', 'inherit', 'inherit'] });
    const facts = await factsOf(path);
    const [alone, kept, byProgram, theirs] = [[], [], [], []];
    // The first turn warms the disk's cache.
    for (let turn = 0; turn <= turns; turn++) {
      const times = [
        await timed(() => decode(path, facts, '/dev/null')),
        await timed(async () => decode(path, facts, await emptyFile(facts))),
        await timed(async () =>
          picturesOnPath({ path, facts, threads: THREADS, into: await emptyFile(facts) }, () => {}),
        ),
        await timed(() =>
          spawnSync('ffmpeg', ['-v', 'error', '-threads', String(THREADS), '-i', path, '-f', 'null', '-']),
        ),
      ];
      if (turn === 0) continue;
      for (const [k, list] of [alone, kept, byProgram, theirs].entries()) list.push(times[k]);
    }
    const ratioOf = (own) => median(own.map((seconds, k) => seconds / theirs[k]));
    const ratio = ratioOf(alone);
    if (ratio > BAR) missed++;
    const cells = [alone, theirs].map((list) => median(list).toFixed(2));
    const mark = ratio > BAR ? '!' : '';
    rows.push([
      name,
      size,
      facts.count,
      ...cells,
      `${ratio.toFixed(2)}${mark}`,
      ...[kept, byProgram].map((own) => ratioOf(own).toFixed(2)),
    ]);
    await rm(path);
  }
} finally {
  await rm(scratch, { recursive: true, force: true });
}
printTable(['clip', 'size', 'pictures', 'ours s', 'ffmpeg s', `ratio (<= ${BAR})`, 'kept', 'kept, by programs'], rows);
console.log(`\n${missed} of ${CLIPS.length} clips miss the bar`);
process.exitCode = missed === 0 ? 0 : 1;

async function factsOf(path) {
  let facts;
  const failure = await runClipChild({ kind: 'facts', path }, (answer) => {
    if (answer.kind === 'facts') facts = answer.facts;
  });
  if (!facts) throw new Error(`${path}: ${failure}`);
  return facts;
}

/** As the stage makes it: the file is there in full length before the decoder writes into it. */
async function emptyFile(facts) {
  const into = join(scratch, 'codes.raw');
  await writeFile(into, '');
  await truncate(into, facts.count * frameBytes(layoutOf(facts.pixelFormat), facts.widthPx, facts.heightPx));
  return into;
}

async function decode(path, facts, into) {
  if (facts.raw) return readCodes(path, facts);
  let whole = 0;
  const failure = await runClipChild({ kind: 'pictures', path, threads: THREADS, facts, into }, (answer) => {
    if (answer.kind === 'picture' && !answer.faulty) whole++;
  });
  if (failure || whole !== facts.count) throw new Error(`${path}: ${whole} of ${facts.count} pictures, ${failure}`);
}

function readCodes(path, { raw: { at, rows }, ...facts }) {
  const layout = layoutOf(facts.pixelFormat);
  for (const place of at) {
    const read = rowReader({ codes: path, at: place, rows, facts }, layout, 0);
    for (let y = 0; y < facts.heightPx; y += BAND_ROWS) read(y, Math.min(BAND_ROWS, facts.heightPx - y));
  }
}

async function timed(work) {
  const began = performance.now();
  await work();
  return (performance.now() - began) / 1000;
}

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)];
}
