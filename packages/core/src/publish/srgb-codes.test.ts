import { expect, test } from 'vitest';
import { chromaticitiesOf, fromSrgb } from '../capture/primaries.js';
import { createRandom } from '../compute/random.js';
import { encode16 } from '../plate/encode.js';
import { MASTER_ENCODINGS, MASTER_PRIMARIES, type MasterColour } from '../plate/master-colour.js';
import { inSrgb } from './srgb-codes.js';

const PIXELS = 500;

/** The same light in a colour, as RGBA codes; seeded. */
function codesIn({ encoding, primaries }: MasterColour): Uint16Array {
  const random = createRandom('codes');
  const light = Float64Array.from({ length: 3 * PIXELS }, () => 0.1 + 0.8 * random.uniform());
  const m = primaries === 'bt709' ? [1, 0, 0, 0, 1, 0, 0, 0, 1] : fromSrgb(chromaticitiesOf(primaries));
  const out = Uint16Array.from({ length: 4 * PIXELS }, (_, i) => i);
  for (let c = 0; c < 3; c++) {
    const plane = Float32Array.from({ length: PIXELS }, (_, i) =>
      [0, 1, 2].reduce((sum, from) => sum + m[3 * c + from]! * light[3 * i + from]!, 0),
    );
    encode16(encoding, out, c, 4, plane, 0, PIXELS, { low: 0, high: 0 });
  }
  return out;
}

const COLOURS = MASTER_ENCODINGS.flatMap((encoding) => MASTER_PRIMARIES.map((primaries) => ({ encoding, primaries })));

test.each(COLOURS)('$primaries, $encoding: the same light has the same sRGB codes', (colour) => {
  const stored = codesIn(colour);
  const found = inSrgb(stored, colour);
  const wanted = codesIn({ encoding: 'srgb', primaries: 'bt709' });
  let worst = 0;
  for (let i = 0; i < found.length; i++) worst = Math.max(worst, Math.abs(found[i]! - wanted[i]!));
  // Half a code in each of three channels, times what matrix and curves spread it by; 8-bit codes are 257 apart.
  expect(worst).toBeLessThanOrEqual(8);
  expect(found.filter((_, i) => i % 4 === 3)).toEqual(wanted.filter((_, i) => i % 4 === 3));
});

test('what is sRGB is given back as it is, and what is given is not changed', () => {
  const stored = codesIn({ encoding: 'srgb', primaries: 'bt709' });
  expect(inSrgb(stored, { encoding: 'srgb', primaries: 'bt709' })).toBe(stored);
  const before = stored.slice();
  inSrgb(stored, { encoding: 'linear', primaries: 'aces-ap1' });
  expect(stored).toEqual(before);
});

test('light that sRGB cannot hold is clipped', () => {
  const green = Uint16Array.of(0, 65535, 0, 65535);
  expect([...inSrgb(green, { encoding: 'linear', primaries: 'bt2020' })]).toEqual([0, 65535, 0, 65535]);
});
