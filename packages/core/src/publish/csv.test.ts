import fc from 'fast-check';
import { expect, test } from 'vitest';
import { csvTable } from './csv.js';

/** A reader of RFC 4180 that shares nothing with the writer. */
function readCsv(text: string): string[][] {
  const rows: string[][] = [];
  let row: string[] = [];
  let at = 0;
  while (at < text.length) {
    let cell = '';
    if (text[at] === '"') {
      for (at++; text[at] !== '"' || text[at + 1] === '"'; at++) {
        cell += text[at];
        if (text[at] === '"') at++;
      }
      at++;
    } else while (text[at] !== ',' && text[at] !== '\r') cell += text[at++];
    row.push(cell);
    if (text[at] === ',') at++;
    else {
      expect(text.slice(at, at + 2)).toBe('\r\n');
      at += 2;
      rows.push(row);
      row = [];
    }
  }
  return rows;
}

test('quotes, commas and line breaks stay in their cells', () => {
  expect(csvTable([['a "b"', 'c,d', 'e\nf', 12]])).toBe('"a ""b""","c,d","e\nf",12\r\n');
});

test.each(['=1+1', '+1', '-1', '@x', '\t=1', '\r=1', '  =cmd', '＝1', '\n@x'])('%j is no formula', (text) => {
  expect(csvTable([[text]])).toBe(`"'${text}"\r\n`);
});

test('any table comes back as it was, but for the apostrophes before formulas', () => {
  const cell = fc.oneof(fc.string({ unit: 'grapheme' }), fc.string({ unit: fc.constantFrom(...'",\r\n=+-@ a') }));
  fc.assert(
    fc.property(fc.array(fc.array(cell, { minLength: 1, maxLength: 4 }), { maxLength: 4 }), (rows) => {
      const read = readCsv(csvTable(rows));
      expect(read.map((row) => row.length)).toEqual(rows.map((row) => row.length));
      read.flat().forEach((text, i) => {
        expect(text).not.toMatch(/^\s*[=+\-@]/);
        expect([text, text.slice(1)]).toContain(rows.flat()[i]);
      });
    }),
    { seed: 12, numRuns: 400 },
  );
});
