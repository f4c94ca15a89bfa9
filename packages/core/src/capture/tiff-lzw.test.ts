import fc from 'fast-check';
import { expect, it } from 'vitest';
import { expandLzw } from './tiff-lzw.js';

/** TIFF 6.0, section 13: the compressor of its pseudocode, which makes its codes longer one entry early. */
function packLzw(text: Uint8Array): Uint8Array {
  const out: number[] = [];
  let [held, count, width] = [0, 0, 9];
  const put = (code: number): void => {
    held = (held << width) | code;
    count += width;
    for (; count >= 8; count -= 8) out.push((held >> (count - 8)) & 255);
    held &= (1 << count) - 1;
  };
  let table = new Map<string, number>();
  const clear = (): void => {
    put(256);
    [table, width] = [new Map(Array.from({ length: 256 }, (_, i) => [String.fromCharCode(i), i])), 9];
  };
  clear();
  let next = 258;
  let prefix = '';
  for (const byte of text) {
    const longer = prefix + String.fromCharCode(byte);
    if (table.has(longer)) {
      prefix = longer;
      continue;
    }
    put(table.get(prefix)!);
    table.set(longer, next++);
    if (next === 512 || next === 1024 || next === 2048) width++;
    if (next === 4095) {
      clear();
      next = 258;
    }
    prefix = String.fromCharCode(byte);
  }
  if (prefix !== '') put(table.get(prefix)!);
  put(257);
  out.push((held << (8 - count)) & 255);
  return Uint8Array.from(out);
}

it('expands what was packed, whatever it is', () => {
  const text = fc.oneof(
    fc.uint8Array({ maxLength: 400 }),
    fc.uint8Array({ maxLength: 9000, max: 3 }),
    fc.nat(20_000).map((length) => new Uint8Array(length).fill(7)),
    fc.nat(20_000).map((length) => Uint8Array.from({ length }, (_, i) => (i * i) >> 7)),
  );
  fc.assert(
    fc.property(text, (bytes) => {
      expect(Buffer.from(expandLzw(packLzw(bytes), bytes.length)).equals(bytes)).toBe(true);
    }),
    { seed: 3, numRuns: 200 },
  );
});

it('comes to an end, and within its bounds, on anything', () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 300 }), fc.nat(5000), (bytes, most) => {
      try {
        expect(expandLzw(bytes, most).length).toBeLessThanOrEqual(most);
      } catch (error) {
        expect((error as Error).message).toBe('its LZW codes are damaged');
      }
    }),
    { seed: 3, numRuns: 500 },
  );
});
