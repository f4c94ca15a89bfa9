// Reads damaged files, one after the other: jobs come as JSON on standard input, a line of JSON a file leaves on standard
// output. A program of its own, so that whatever a file does to it is seen from outside.
import { readFileSync, writeFileSync, writeSync } from 'node:fs';
import { basename, dirname } from 'node:path';

const core = new URL('../packages/core/dist/', import.meta.url);
const load = (module) => import(new URL(module, core).href);
const { PleniluneError } = await load('job/errors.js');
const { readStill } = await load('capture/read-still.js');
const { readStillTime } = await load('capture/time-still.js');
const { readClipPass } = await load('capture/clip-pass.js');
const { runClipChild } = await load('capture/run-clip-child.js');
const { frameBytes, layoutOf } = await load('capture/clip-layout.js');
const { AS_FILES_SAY } = await load('capture/reading.js');
const { readDeviceFacts } = await load('capture/device-facts.js');
const { parseSettings } = await load('capture/settings-read.js');
const { readCubeTable } = await load('capture/cube-table.js');

const TIMED = {
  '.jpg': 'jpeg',
  '.jpeg': 'jpeg',
  '.png': 'png',
  '.tif': 'tiff',
  '.tiff': 'tiff',
  '.dng': 'dng',
  '.fits': 'fits',
};
/** Nothing is declared. */
const FILES_SAY = { ...AS_FILES_SAY, table: null };
/** Longest clip that is decoded here, in bytes as unpacked. */
const MOST_CLIP_BYTES = 2 ** 28;

const readers = {
  still: async (path) => {
    await readStillTime(path, TIMED[/\.[^.]*$/.exec(path)?.[0]] ?? 'other');
    await readDeviceFacts(path);
    await readStill(path);
  },
  clip: async (path) => {
    const { pass, loss } = await readClipPass(dirname(path), basename(path), basename(path), FILES_SAY);
    if (!pass) return loss.detail;
    const { clip: facts } = pass;
    if (frameBytes(layoutOf(facts.pixelFormat), facts.widthPx, facts.heightPx) * facts.count > MOST_CLIP_BYTES)
      return 'too long';
    const into = `${path}.codes`;
    writeFileSync(into, '');
    return runClipChild({ kind: 'pictures', path, threads: 1, facts, into }, () => {});
  },
  settings: async (path) => {
    parseSettings(readFileSync(path), path);
  },
  table: async (path) => {
    await readCubeTable(path);
  },
};

const jobs = JSON.parse(readFileSync(0, 'utf8'));
for (const { index, path, kind } of jobs) {
  let refusal;
  let untyped;
  try {
    refusal = await readers[kind](path);
  } catch (error) {
    if (error instanceof PleniluneError && error.code !== 'INTERNAL') refusal = error.code;
    else untyped = String(error?.stack ?? error);
  }
  const peakBytes = process.resourceUsage().maxRSS * 1024;
  writeSync(1, `${JSON.stringify({ index, refused: refusal !== undefined, untyped, peakBytes })}\n`);
}
