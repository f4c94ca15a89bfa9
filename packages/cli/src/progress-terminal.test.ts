import { mkdtemp, readdir, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { onTerminal, shownOn } from '../test/terminal.js';

const base = await mkdtemp(join(tmpdir(), 'terminal test '));
afterAll(() => rm(base, { recursive: true }));
/** Goes on for far longer than any test. */
const long = ['--disc', '300', '--frame', '240x160', '--frames-per-pass', '9000'];

test.each([60, 100])('a terminal of %i columns shows one line, rewritten, until Ctrl-C', async (columns) => {
  const run = onTerminal(columns, ['rehearse', join(base, 'long'), ...long], { NO_COLOR: '' });
  await run.sent(/Recording the frames: .*left/);
  run.interrupt();
  const { code, text } = await run.ended;
  expect(code).toBe(5);
  const { screen, states } = shownOn(text);
  expect(
    states.some((line) => /^Recording the frames: \d+ of 27000 frames(, \S+( frames)?\/s)?, .+ left$/.test(line)),
  ).toBe(true);
  expect(states.some((line) => / frames\/s, /.test(line))).toBe(columns === 100);
  // The last line is a message, which may be longer.
  const told = screen.findIndex((line) => line.startsWith('plenilune: interrupted'));
  expect(screen.slice(0, told).filter((line) => line !== '')).toEqual(['stopping; once more to end at once']);
  for (const line of states.filter((state) => state.includes('Recording'))) expect(line.length).toBeLessThan(columns);
  expect(await readdir(base)).toEqual([]);
});

test('without colours only the codes that rewrite the line are sent, and with --quiet nothing', async () => {
  for (const [more, env] of [
    [['--no-color'], {}],
    [[], { NO_COLOR: '1' }],
  ] as const) {
    const run = onTerminal(80, ['rehearse', join(base, 'plain'), ...long, ...more], env);
    await run.sent(/Recording the frames: .*frames/);
    run.interrupt();
    const { text } = await run.ended;
    expect([
      ...new Set(
        text
          .split('\x1b')
          .slice(1)
          .map((part) => part.slice(0, 2)),
      ),
    ]).toEqual(['[K']);
  }
  const small = ['--disc', '300', '--frame', '240x160', '--frames-per-pass', '2', '--quiet'];
  expect(await onTerminal(80, ['rehearse', join(base, 'quiet'), ...small]).ended).toEqual({ code: 0, text: '' });
});

test('a terminal that cannot rewrite lines gets one for each stage', async () => {
  const small = ['--disc', '300', '--frame', '240x160', '--frames-per-pass', '2'];
  const { text } = await onTerminal(80, ['rehearse', join(base, 'dumb'), ...small], { TERM: 'dumb' }).ended;
  expect(text).toMatch(/^Drawing the scene: done in .*\r\nRecording the frames: done in /);
  expect(text).not.toContain('\x1b');
});
