import fc from 'fast-check';
import { expect, test } from 'vitest';
import { createRandom } from './random.js';

test('many draws at once are those of single calls, and the sequence goes on behind them', () => {
  fc.assert(
    fc.property(fc.integer(), fc.nat(40), fc.nat(40), (seed, before, count) => {
      const [one, many] = [createRandom(seed), createRandom(seed)];
      for (let i = 0; i < before; i++) expect(many.uniform()).toBe(one.uniform());
      const drawn = new Float64Array(count);
      many.uniforms(drawn);
      expect([...drawn]).toEqual(Array.from({ length: count }, () => one.uniform()));
      expect(many.uniform()).toBe(one.uniform());
    }),
    { seed: 11 },
  );
});
