import { mkdir, mkdtemp, rm, utimes, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, expect, test } from 'vitest';
import { hashCapture } from './hash-capture.js';
import { refuseChanged } from './refuse-changed.js';
import { scanCapture } from './scan.js';

const root = await mkdtemp(join(tmpdir(), 'changed-'));
afterAll(() => rm(root, { recursive: true }));

async function captureOfThree() {
  const dir = await mkdtemp(join(root, 'capture-'));
  await mkdir(join(dir, 'pass'));
  const png = await sharp({ create: { width: 16, height: 12, channels: 3, background: '#777' } })
    .png()
    .toBuffer();
  const files = ['1.png', '2.png', '3.png'].map((name) => join(dir, 'pass', name));
  for (const file of files) await writeFile(file, png);
  return { capture: await scanCapture(dir), files, png };
}

test('an untouched capture passes', async () => {
  const { capture } = await captureOfThree();
  await expect(refuseChanged(capture)).resolves.toBeUndefined();
});

test('a frame that grew, one of the same size written anew, and one that has gone are named', async () => {
  const grown = await captureOfThree();
  await writeFile(grown.files[1]!, Buffer.concat([grown.png, grown.png]));
  const rewritten = await captureOfThree();
  await utimes(rewritten.files[2]!, 1e9, 1e9);
  const gone = await captureOfThree();
  await rm(gone.files[0]!);
  await rm(gone.files[1]!);
  for (const [capture, message] of [
    [grown.capture, `${grown.files[1]} has changed while`],
    [rewritten.capture, `${rewritten.files[2]} has changed while`],
    [gone.capture, `${gone.files[0]} has gone while it was being used, and 1 more with it`],
  ] as const) {
    await expect(refuseChanged(capture)).rejects.toMatchObject({
      code: 'CAPTURE_CHANGED',
      message: expect.stringContaining(message),
    });
  }
});

test('a frame that has gone before it could be hashed says so, too', async () => {
  const { capture, files } = await captureOfThree();
  await rm(files[1]!);
  await expect(hashCapture({ signal: undefined, onProgress: () => {} }, capture)).rejects.toMatchObject({
    code: 'CAPTURE_CHANGED',
    message: expect.stringContaining(`${files[1]} has gone`),
  });
});
