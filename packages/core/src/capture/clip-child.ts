// Runs as a program of its own: it loads FFmpeg's libraries, which are native code, and may die without taking a run with it.
// One request comes as JSON on standard input; answers leave as lines of JSON on standard output.
import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { loadBinding } from './clip-binding.js';
import type { ClipAnswer, ClipRequest } from './clip-facts.js';
import { factsOnPath, isOnPath, picturesOnPath } from './clip-on-path.js';
import { factsOf, openClip } from './clip-open.js';
import { decodePictures } from './clip-pictures.js';
import { rawPictures } from './clip-raw.js';

function say(answer: ClipAnswer): void {
  const line = Buffer.from(`${JSON.stringify(answer)}\n`);
  for (let at = 0; at < line.length; ) {
    try {
      at += writeSync(1, line, at);
    } catch (error) {
      if (!(error instanceof Error && 'code' in error && error.code === 'EAGAIN')) throw error;
    }
  }
}

async function answer(request: ClipRequest): Promise<void> {
  const ffmpeg = loadBinding();
  if (ffmpeg instanceof Error) return answerOnPath(request, ffmpeg);
  const clip = openClip(ffmpeg, request.path);
  if (request.kind === 'facts') {
    const { facts, packets } = factsOf(ffmpeg, clip, () => say({ kind: 'alive' }));
    const raw = rawPictures(ffmpeg, request.path, facts, packets);
    say({ kind: 'facts', facts: raw ? { ...facts, raw } : facts });
    return;
  }
  const file = openSync(request.into, 'r+');
  decodePictures(ffmpeg, clip, request, file, (index, faulty) => say({ kind: 'picture', index, faulty }));
  closeSync(file);
}

/** Where the libraries are not installed, FFmpeg's programs do. */
async function answerOnPath(request: ClipRequest, missing: Error): Promise<void> {
  if (!isOnPath()) throw new Error(`${missing.message}; nor is FFmpeg on the PATH`);
  const alive = (): void => say({ kind: 'alive' });
  if (request.kind === 'facts') say({ kind: 'facts', facts: await factsOnPath(request.path, alive) });
  else await picturesOnPath(request, (index) => say({ kind: 'picture', index, faulty: false }));
}

try {
  await answer(JSON.parse(readFileSync(0, 'utf8')) as ClipRequest);
  say({ kind: 'done' });
} catch (error) {
  say({ kind: 'failure', message: error instanceof Error ? error.message : String(error) });
}
