import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { plenilune } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'check test '));
afterAll(() => rm(base, { recursive: true }));
const capture = join(base, 'night', 'capture');

beforeAll(async () => {
  const small = ['--passes', '2', '--disc', '300', '--frame', '240x160', '--frames-per-pass', '3', '--quiet'];
  expect(await plenilune(['rehearse', join(base, 'night'), ...small])).toMatchObject({ code: 0 });
  await writeFile(join(capture, 'list.txt'), 'text');
});

test('says what a capture holds, for people and for programs', async () => {
  const { code, stdout, stderr } = await plenilune(['check', capture, '--json']);
  expect(code).toBe(0);
  expect(stderr).toMatch(
    /^2 passes:\n {2}lower {2}3 stills {2}240 x 160 px {2}\d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC by the file\n {2}upper/,
  );
  expect(stderr).toContain('Left out: 1 not-an-image.');
  expect(JSON.parse(stdout)).toMatchObject({
    passes: [{ name: 'lower', frames: 3, timeFrom: 'file' }, { name: 'upper' }],
    leftOut: [{ item: 'list.txt' }],
    settingsPath: null,
  });
});

test('--init writes settings that stitch reads, once', async () => {
  const path = join(capture, 'capture.yaml');
  const { code, stderr } = await plenilune(['check', capture, '--init']);
  expect({ code, stderr }).toMatchObject({ code: 0, stderr: expect.stringContaining(`settings ${path}\n`) });
  const text = await readFile(path, 'utf8');
  expect(text).toContain('\n  - folder: lower\n');
  const again = await plenilune(['check', capture, '--init']);
  expect(again).toMatchObject({ code: 2, stderr: expect.stringContaining('never replaced') });
  await writeFile(path, text.replace('folder: lower', 'folder: lowr'));
  const refused = await plenilune(['check', capture]);
  expect(refused).toMatchObject({ code: 3, stderr: expect.stringContaining('Did you mean "lower"?') });
});

test('what is no capture is bad input', async () => {
  const { code, stderr } = await plenilune(['check', join(base, 'nowhere')]);
  expect({ code, stderr }).toMatchObject({ code: 3, stderr: expect.stringContaining('[CAPTURE_UNREADABLE]') });
});
