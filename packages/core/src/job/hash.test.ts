import fc from 'fast-check';
import { expect, test } from 'vitest';
import { canonicalJson, hashOf, hashOfFloats } from './hash.js';

const json = fc.jsonValue({ maxDepth: 4 });

/** The same value with the keys of every object inserted the other way round. */
function reversed(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(reversed);
  if (typeof value !== 'object' || value === null) return value;
  return Object.fromEntries(
    Object.entries(value)
      .reverse()
      .map(([key, item]) => [key, reversed(item)]),
  );
}

test('the order of keys changes nothing', () => {
  fc.assert(
    fc.property(json, (value) => hashOf(reversed(value)) === hashOf(value)),
    { seed: 11, numRuns: 300 },
  );
});

test('the text is JSON of the same value', () => {
  fc.assert(
    fc.property(json, (value) => {
      expect(JSON.parse(canonicalJson(value))).toEqual(JSON.parse(JSON.stringify(value)));
    }),
    { seed: 12, numRuns: 300 },
  );
});

test('different values have different texts', () => {
  const values = [0, 1, '1', null, true, [], {}, [0], { a: 0 }, { b: 0 }, { a: '0' }, [[0]], ''];
  expect(new Set(values.map(hashOf)).size).toBe(values.length);
  expect(hashOf({ a: 1, b: undefined })).toBe(hashOf({ a: 1 }));
  // printf '{"a":[1,2.5],"b":null}' | sha256sum
  expect(hashOf({ b: null, a: [1, 2.5] })).toBe('f66b2c50ccae61e3f2445d2439f42efc245581b18ed184ce5d3c22fb58eed9c4');
});

test.each([
  [{ a: [1, Number.NaN] }, '$.a[1] is NaN; only finite numbers can be recorded'],
  [{ a: Number.POSITIVE_INFINITY }, '$.a is Infinity; only finite numbers can be recorded'],
  [[undefined], '$[0] is of type undefined; only plain JSON values can be recorded'],
  [{ p: new Float32Array(2) }, '$.p is a Float32Array; only plain JSON values can be recorded'],
  [{ at: new Date(0) }, '$.at is a Date; only plain JSON values can be recorded'],
  [1n, '$ is of type bigint; only plain JSON values can be recorded'],
])('what JSON would lose is refused: %#', (value, message) => {
  expect(() => canonicalJson(value)).toThrow(message);
});

test('hashOfFloats tells apart what differs in a bit, and sees only the part that it is given', () => {
  const floats = Float32Array.from([0, 1, -0, Number.NaN]);
  expect(hashOfFloats(floats)).toMatch(/^[0-9a-f]{64}$/);
  expect(hashOfFloats(floats.subarray(0, 1))).not.toBe(hashOfFloats(floats.subarray(2, 3)));
  expect(hashOfFloats(floats.subarray(1, 3))).toBe(hashOfFloats(Float32Array.from([1, -0])));
});
