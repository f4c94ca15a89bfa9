import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { called } from '../../test/called.js';
import { plenilune, start } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'rehearse test '));
afterAll(() => rm(base, { recursive: true }));
const small = ['--disc', '300', '--frame', '240x160', '--frames-per-pass', '2'];
const long = ['--disc', '300', '--frame', '240x160', '--frames-per-pass', '2000'];

test('a rehearsal is made, and said where', async () => {
  const folder = join(base, 'made');
  const { code, stdout, stderr } = await plenilune(['rehearse', folder, ...small]);
  expect(code).toBe(0);
  expect(stdout).toBe('');
  expect(stderr).toMatch(
    /^Drawing the scene: done in \d+\.\d s\nRecording the frames: done in \d+\.\d s \(6 frames, \S+ frames\/s\)\n/,
  );
  expect(stderr).toContain(`\ncapture  ${join(folder, 'capture')}\n`);
  expect(await readdir(folder)).toEqual(expect.arrayContaining(['capture', 'truth.json', 'truth.png']));
});

test('the options reach the settings, and programs get JSON', async () => {
  const folder = join(base, 'options');
  const more = ['--passes', '3', '--omit', '0,2', '--bits', '16', '--format', 'tif', '--seed', '9', '--phase', '30'];
  const { code, stdout, stderr } = await plenilune(['rehearse', folder, ...small, ...more, '--json', '--quiet']);
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  const summary = JSON.parse(stdout) as { frames: number; passes: { name: string }[] };
  expect(summary.frames).toBe(2);
  expect(summary.passes).toHaveLength(1);
  const frames = await readdir(join(folder, 'capture', summary.passes[0]!.name));
  expect(frames.every((name) => name.endsWith('.tif'))).toBe(true);
});

test('the same seed gives the same files, another gives others', async () => {
  const truths = [];
  for (const [name, seed] of [
    ['seed a', '4'],
    ['seed b', '4'],
    ['seed c', '5'],
  ] as const) {
    await called(['rehearse', join(base, name), ...small, '--seed', seed]);
    truths.push((await readFile(join(base, name, 'truth.png'))).toString('base64'));
  }
  expect(truths[1]).toBe(truths[0]);
  expect(truths[2]).not.toBe(truths[0]);
});

test('what is there already is replaced only by force', async () => {
  const folder = join(base, 'twice');
  await called(['rehearse', folder, ...small]);
  expect(await called(['rehearse', folder, ...small, '--quiet'])).toMatchObject({
    code: 2,
    stderr: expect.stringMatching(/^plenilune: [^\n]+ \[OUTPUT_EXISTS\]\n$/),
  });
  expect((await called(['rehearse', folder, ...small, '--force'])).code).toBe(0);
});

describe('an interrupt', () => {
  test('stops in good order, leaves nothing, and ends with 5', async () => {
    const run = start(['rehearse', join(base, 'stopped'), ...long]);
    await run.said('Drawing the scene: done');
    run.interrupt();
    const { code, stdout, stderr } = await run.ended;
    expect(stderr).toContain('\nstopping; once more to end at once\nplenilune: interrupted; nothing is left behind.');
    expect(stderr).toMatch(/\[INTERRUPTED\]\n$/);
    expect(stdout).toBe('');
    expect(code).toBe(5);
    expect((await readdir(base)).filter((name) => name.includes('stopped'))).toEqual([]);
  });

  test('that comes twice at once, as npx passes it on, counts once', async () => {
    const run = start(['rehearse', join(base, 'stopped'), ...long]);
    await run.said('Drawing the scene: done');
    run.interrupt();
    await run.said('stopping');
    run.interrupt();
    expect(await run.ended).toMatchObject({ code: 5, endedBy: null });
  });
});
