import { createHash } from 'node:crypto';
import { appendFile, mkdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { makePlateFolder } from '../test/plate-folder.js';
import { useScratch } from '../test/scratch.js';
import { sidecarAt, verifyPlate } from './verify.js';

const scratch = useScratch();
const sha = (text: string): string => createHash('sha256').update(text).digest('hex');
const frame = (file: string, text: string): object => ({ file, sha256: sha(text), time: null });

beforeAll(async () => {
  await mkdir(scratch('night/a'), { recursive: true });
  await writeFile(scratch('night/a/1.tif'), 'one');
  await writeFile(scratch('night/b#2'), 'a still');
  await writeFile(scratch('night/clip.mov'), 'clip');
  await mkdir(scratch('dark'));
  await writeFile(scratch('dark/d.tif'), 'dark');
  await makePlateFolder(scratch('plate'), {
    sidecar: {
      passes: [
        {
          placed: true,
          frames: [
            frame('a/1.tif', 'one'),
            frame('clip.mov#1', 'clip'),
            frame('clip.mov#2', 'clip'),
            frame('b#2', 'a still'),
          ],
        },
      ],
      capture: {
        name: 'night',
        guide: null,
        calibration: [{ files: [{ file: '../dark/d.tif', sha256: sha('dark') }] }],
      },
      leftOut: [
        { item: 'notes.txt', sha256: sha('gone') },
        { item: 'a', reason: 'nested-folder' },
      ],
    },
  });
});

test('every file once, a clip for all of its pictures, calibration beside the capture', async () => {
  const alone = await verifyPlate(scratch('plate'));
  expect(alone).toEqual({ sidecarPath: scratch('plate/plate.json'), checked: 2, notChecked: 5, differences: [] });
  const missing = { file: 'notes.txt', sha256: sha('gone'), role: 'input', state: 'missing', foundSha256: null };
  expect(await verifyPlate(scratch('plate/plate.json'), { captureDir: scratch('night') })).toEqual({
    ...alone,
    checked: 7,
    notChecked: 0,
    differences: [missing],
  });
});

test('what has changed or gone is named', async () => {
  await makePlateFolder(scratch('other'));
  await appendFile(scratch('other/plate.tif'), 'x');
  await rm(scratch('other/preview.jpg'));
  const { differences } = await verifyPlate(scratch('other'));
  expect(differences).toMatchObject([
    { file: 'plate.tif', role: 'output', state: 'changed' },
    { file: 'preview.jpg', role: 'output', state: 'missing', foundSha256: null },
  ]);
  expect(differences[0]!.foundSha256).toMatch(/^[0-9a-f]{64}$/);
});

test('a sidecar leads to nothing outside the capture and what lies beside it', async () => {
  await writeFile(scratch('secret'), 'secret');
  for (const file of [scratch('secret'), '../../secret', 'a/../../../secret']) {
    const passes = [{ placed: true, frames: [frame(file, 'secret')] }];
    await makePlateFolder(scratch('hostile'), { sidecar: { passes } });
    const { differences } = await verifyPlate(scratch('hostile'), { captureDir: scratch('night/a') });
    expect(differences).toMatchObject([{ file, state: 'missing' }]);
  }
});

test('a sidecar is known by its name or its folder; a capture is no sidecar', async () => {
  expect(await sidecarAt(scratch('plate'))).toBe(join(scratch('plate'), 'plate.json'));
  expect(await sidecarAt(scratch('plate/plate.json'))).toBe(scratch('plate/plate.json'));
  expect(await sidecarAt(scratch('night'))).toBeUndefined();
  expect(await sidecarAt(scratch('nowhere'))).toBeUndefined();
  await expect(verifyPlate(scratch('plate'), { captureDir: scratch('secret') })).rejects.toMatchObject({
    code: 'CAPTURE_UNREADABLE',
  });
});
