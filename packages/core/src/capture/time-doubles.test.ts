import fc from 'fast-check';
import { expect, test } from 'vitest';
import { judgeDoubles } from './time-doubles.js';
import type { FrameTime } from './time-resolve.js';

function frame(item: string, clockMs?: number): FrameTime {
  return { item, utc: undefined, clockMs, source: undefined, uncertaintyS: undefined };
}

test('the first of equal files or pictures stays, the others are named with their reason', () => {
  const times = [
    frame('a', 0),
    frame('b', 200),
    frame('a copy', 0),
    frame('b as png', 1700),
    frame('c'),
    frame('c again', 3),
  ];
  const digests = [
    { file: 'A', pixels: 'PA' },
    { file: 'B', pixels: 'PB' },
    { file: 'A', pixels: 'PA' },
    { file: 'B2', pixels: 'PB' },
    { file: 'C', pixels: undefined },
    { file: 'C2', pixels: undefined },
  ];
  expect(judgeDoubles(times, digests)).toEqual([
    { item: 'a copy', reason: 'same-file', detail: 'It is the same file as a.' },
    {
      item: 'b as png',
      reason: 'same-pixels',
      detail: 'It is the same picture as b, though its stamp differs by 1.500 s.',
    },
  ]);
});

test('as many stay as there are different pictures', () => {
  const digest = fc.nat(5).map((n) => ({ file: `${n}`, pixels: `p${n % 3}` }));
  fc.assert(
    fc.property(fc.array(digest, { maxLength: 30 }), (digests) => {
      const times = digests.map((_, i) => frame(`${i}`, 1000));
      const out = new Set(judgeDoubles(times, digests).map(({ item }) => item));
      const kept = digests.filter((_, i) => !out.has(`${i}`));
      expect(new Set(kept.map(({ pixels }) => pixels)).size).toBe(kept.length);
      expect(kept.length).toBe(new Set(digests.map(({ pixels }) => pixels)).size);
    }),
    { seed: 2 },
  );
});

test('lists of unequal length are a fault of the caller', () => {
  expect(() => judgeDoubles([frame('a')], [])).toThrow(new RangeError('1 times, 0 digests'));
});
