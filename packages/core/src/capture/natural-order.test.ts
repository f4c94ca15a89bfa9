import fc from 'fast-check';
import { expect, test } from 'vitest';
import { compareNames } from './natural-order.js';

test.each([
  ['numbers by value', ['frame_10', 'frame_2', 'frame_1'], ['frame_1', 'frame_2', 'frame_10']],
  ['numbers beyond 2^53', ['a90071992547409931', 'a90071992547409930'], ['a90071992547409930', 'a90071992547409931']],
  ['several runs', ['b2-10', 'b10-1', 'b2-9'], ['b2-9', 'b2-10', 'b10-1']],
  ['case does not part names', ['B1', 'a2', 'b0'], ['a2', 'b0', 'B1']],
  ['leading zeros follow the value', ['f010', 'f9', 'f0011'], ['f9', 'f010', 'f0011']],
  ['names beyond Latin', ['月10', '月2', 'лун1'], ['лун1', '月2', '月10']],
  ['a shorter name first', ['frame_1', 'frame'], ['frame', 'frame_1']],
])('%s', (_, names, expected) => {
  expect([...names].sort(compareNames)).toEqual(expected);
});

test('it is a total order: any shuffle of any names sorts to the same list', () => {
  const name = fc.string({ unit: fc.constantFrom('0', '1', '9', 'a', 'A', '_', 'é', '月'), maxLength: 6 });
  fc.assert(
    fc.property(fc.uniqueArray(name, { maxLength: 12 }), fc.infiniteStream(fc.nat()), (names, keys) => {
      const shuffled = names
        .map((value) => ({ value, key: keys.next().value as number }))
        .sort((a, b) => a.key - b.key)
        .map(({ value }) => value);
      expect([...shuffled].sort(compareNames)).toEqual([...names].sort(compareNames));
    }),
    { seed: 3, numRuns: 300 },
  );
});

test('different names never compare equal', () => {
  expect(compareNames('a01', 'a1')).not.toBe(0);
  expect(compareNames('A', 'a')).not.toBe(0);
  expect(compareNames('e\u0301', '\u00e9')).not.toBe(0);
  expect(compareNames('a', 'a')).toBe(0);
});
