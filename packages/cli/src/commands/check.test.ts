import { cp, mkdir, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { called } from '../../test/called.js';
import { plenilune, start } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'check test '));
afterAll(() => rm(base, { recursive: true }));
const capture = join(base, 'night', 'capture');

beforeAll(async () => {
  const small = ['--passes', '2', '--disc', '400', '--frame', '384x256', '--frames-per-pass', '12', '--quiet'];
  expect(await plenilune(['rehearse', join(base, 'night'), ...small])).toMatchObject({ code: 0 });
  await writeFile(join(capture, 'list.txt'), 'text');
});

test('says what a capture holds, for people and for programs', async () => {
  const { code, stdout, stderr } = await plenilune(['check', capture, '--json']);
  expect(code).toBe(0);
  expect(stderr).toMatch(
    /^2 passes:\n {2}lower {2}12 stills {2}384 x 256 px {2}\d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC by the file\n {2}upper/,
  );
  expect(stderr).toContain('Left out: list.txt: ');
  expect(JSON.parse(stdout)).toMatchObject({
    passes: [{ name: 'lower', frames: 12, timeFrom: 'file' }, { name: 'upper' }],
    leftOut: [{ item: 'list.txt' }],
    settingsPath: null,
    complete: true,
    look: { findings: [], passes: [{ name: 'lower', looked: 12, usable: 12 }, { name: 'upper' }] },
  });
  expect(stderr).toMatch(/\n {2} +[:?\d+]+\n/);
  expect(stderr).toContain('The lit disc is covered, sharp and unclipped, as far as 24 frames tell.');
});

test('--watch looks again when files have arrived, and ends when interrupted', async () => {
  const growing = join(base, 'growing');
  await mkdir(growing);
  const run = start(['check', growing, '--watch']);
  await run.said('holds no pass');
  await cp(join(capture, 'lower'), join(growing, 'lower'), { recursive: true });
  await run.said('as far as 12 frames tell');
  await cp(join(capture, 'upper'), join(growing, 'upper'), { recursive: true });
  await run.said('2 passes:');
  await run.said('as far as 24 frames tell');
  run.interrupt();
  const { code, stderr } = await run.ended;
  expect(stderr).toContain('missing at the');
  expect(stderr.lastIndexOf('The lit disc is covered')).toBeGreaterThan(stderr.lastIndexOf('missing at the'));
  expect(code).toBe(0);
}, 60_000);

test('--init writes settings that stitch reads, once', async () => {
  const path = join(capture, 'capture.yaml');
  await rm(path);
  const { code, stderr } = await called(['check', capture, '--init']);
  expect({ code, stderr }).toMatchObject({ code: 0, stderr: expect.stringContaining(`settings ${path}\n`) });
  expect(stderr).toContain('\nFilled in from the files: sensor.widthPx, sensor.heightPx, passes.folder.\n');
  expect(stderr).toMatch(
    /\nLeft as comments, each with an example: title, notes, site, optics, sensor\.name, .*rights/,
  );
  expect(stderr).toContain('\nIt is there to be edited: ');
  const text = await readFile(path, 'utf8');
  expect(text).toContain('\n  - folder: lower\n');
  const again = await called(['check', capture, '--init']);
  expect(again).toMatchObject({ code: 2, stderr: expect.stringContaining('never replaced') });
  await writeFile(path, text.replace('folder: lower', 'folder: lowr'));
  const refused = await called(['check', capture]);
  expect(refused).toMatchObject({ code: 3, stderr: expect.stringContaining('Did you mean "lower"?') });
});

test('--init prepares a folder before the night, where no picture is yet', async () => {
  const path = join(base, 'tonight', 'capture.yaml');
  await mkdir(join(base, 'tonight'));
  const { code, stderr } = await called(['check', join(base, 'tonight'), '--init']);
  expect({ code, stderr }).toMatchObject({ code: 0, stderr: expect.stringContaining(`settings ${path}\n`) });
  expect(stderr).toMatch(/^No pass yet\.\nNothing is filled in\.\nLeft as comments, .*: title, notes, .*rights/);
  const again = await called(['check', join(base, 'tonight'), '--init']);
  expect(again).toMatchObject({ code: 2, stderr: expect.stringContaining('never replaced') });
  const plain = await called(['check', join(base, 'tonight')]);
  expect(plain).toMatchObject({ code: 3, stderr: expect.stringContaining('[CAPTURE_EMPTY]') });
});

test('what is no capture is bad input', async () => {
  const { code, stderr } = await called(['check', join(base, 'nowhere')]);
  expect({ code, stderr }).toMatchObject({ code: 3, stderr: expect.stringContaining('[CAPTURE_UNREADABLE]') });
});
