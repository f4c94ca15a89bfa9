import { expect, test } from 'vitest';
import { createStyle, wantsColour } from './style.js';

const terminal = { isTTY: true };

test.each([
  [terminal, true, {}, true],
  [terminal, false, {}, false],
  [terminal, true, { NO_COLOR: '1' }, false],
  [terminal, true, { NO_COLOR: '' }, true],
  [terminal, true, { TERM: 'dumb' }, false],
  [{ isTTY: false }, true, {}, false],
])('colour is for terminals whose owner wants it: %#', (stream, asked, env, expected) => {
  expect(wantsColour(stream, asked, env)).toBe(expected);
});

test('without colour words stay as they are', () => {
  expect(createStyle(false).red('plain')).toBe('plain');
  expect(createStyle(true).red('marked')).toBe('\x1b[31mmarked\x1b[39m');
});
