import fc from 'fast-check';
import { expect, test } from 'vitest';
import { plainLine, plainText, wordsOf } from './plain-text.js';

test('control characters, halves of characters and turned text become spaces', () => {
  expect(plainText('a\u0000b\u001bc\ud800d\u202ee\ufffff\ufeffg')).toBe('a b c d e f g');
  expect(plainText(' x\r\ny\rz\u2028w ')).toBe('x\ny\nz\nw');
  expect(plainLine(' A\n\tB  C\u0085D ')).toBe('A B C D');
  expect(plainText('ümläut 月 🌕')).toBe('ümläut 月 🌕');
});

test('whatever comes in, only what XML allows comes out, and twice gives the same', () => {
  fc.assert(
    fc.property(fc.string({ unit: fc.integer({ min: 0, max: 0xffff }).map((c) => String.fromCharCode(c)) }), (text) => {
      const plain = plainText(text);
      expect(plain).toMatch(/^[\n\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]*$/u);
      expect(plainText(plain)).toBe(plain);
      expect(plainLine(text)).not.toMatch(/\s\s|\n|^\s|\s$/);
    }),
    { seed: 11, numRuns: 400 },
  );
});

test('words are counted as people do', () => {
  expect(wordsOf('The Moon: 45 % lit — at night.')).toEqual(['The', 'Moon:', '45', 'lit', 'at', 'night.']);
});
