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

it('lets arrays of about the same length share their room, with an eighth to spare at most', () => {
  const pool = createFloatPool();
  for (let length = 1; length < 100_000; length = Math.ceil(length * 1.3)) {
    const array = pool.take(length);
    expect(array.length).toBe(length);
    expect(array.buffer.byteLength / 4).toBeLessThanOrEqual(Math.max(length + 1, 1.125 * length));
  }
  const first = pool.take(1000);
  pool.give([first]);
  const again = pool.take(980);
  expect(again.buffer).toBe(first.buffer);
  expect(again.length).toBe(980);
});
