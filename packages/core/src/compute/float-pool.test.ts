import { expect, it } from 'vitest';
import { createFloatPool } from './float-pool.js';

it('gives an array out again once it was given back, and never twice', () => {
  const pool = createFloatPool();
  const [a, b] = [pool.take(10), pool.take(10)];
  expect(a.buffer).toBeInstanceOf(SharedArrayBuffer);
  expect(b.buffer).not.toBe(a.buffer);
  pool.give([a]);
  expect(pool.take(11).length).toBe(11);
  expect(pool.take(10).buffer).toBe(a.buffer);
  expect([a.buffer, b.buffer]).not.toContain(pool.take(10).buffer);
});
