import { expect, test } from 'vitest';
import { ended } from './lines.js';

test('a detail ends with one full stop, whether it is a sentence or a fragment', () => {
  expect(ended('no body in it')).toBe('no body in it.');
  expect(ended('It is no still.')).toBe('It is no still.');
  expect(ended('did you mean tif?')).toBe('did you mean tif?');
});
