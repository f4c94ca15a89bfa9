import { execFileSync } from 'node:child_process';
import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { checkCapture } from '../src/index.js';
import { useScratch } from './scratch.js';
import { shared } from './shared.js';

const scratch = useScratch();
const SETTINGS = 'split: false\n';

it('parts a clip that went on while the camera was pointed anew, unless the settings say that it is one pass', async () => {
  const dir = scratch('night');
  await mkdir(dir);
  const halves = ['s1.mp4', 's2.mp4'].map((name) => shared('real', 'captures', 'open_clips', 'capture', name));
  const list = scratch('list.txt');
  await writeFile(list, halves.map((path) => `file '${path}'\n`).join(''));
  const joined = ['-v', 'error', '-f', 'concat', '-safe', '0', '-i', list, '-c', 'copy', join(dir, 'both.mp4')];
  execFileSync('ffmpeg', joined);

  const parted = await checkCapture(dir, { workers: 2 });
  expect(parted.look!.passes.map(({ name }) => name)).toEqual(['both.mp4.1', 'both.mp4.2']);
  expect(parted.complete).toBe(true);

  await writeFile(join(dir, 'capture.yaml'), SETTINGS);
  const whole = await checkCapture(dir, { workers: 2 });
  expect(whole.look!.passes.map(({ name }) => name)).toEqual(['both.mp4']);
  expect(whole.complete).toBe(false);
});
