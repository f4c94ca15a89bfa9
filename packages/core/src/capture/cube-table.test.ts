import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { applyTable } from './apply-table.js';
import { parseCubeTable, readCubeTable } from './cube-table.js';

const parse = (text: string) => parseCubeTable(text, 'look.cube');

/** A lattice of a function of the recorded colour. */
function lattice(size: number, f: (r: number, g: number, b: number) => readonly number[], head = ''): string {
  const lines = [`TITLE "made"`, head, `LUT_3D_SIZE ${size}`];
  for (let k = 0; k < size; k++)
    for (let j = 0; j < size; j++)
      for (let i = 0; i < size; i++) lines.push(f(i / (size - 1), j / (size - 1), k / (size - 1)).join(' '));
  return lines.join('\n');
}

function through(text: string, colour: readonly number[]): number[] {
  const planes = colour.map((v) => Float32Array.of(v));
  applyTable(parse(text), planes);
  return planes.map((p) => p[0]!);
}

const level = fc.double({ min: 0, max: 1, noNaN: true });

describe('a colour table', () => {
  test('of a linear function gives that function everywhere, red running fastest', () => {
    const f = (r: number, g: number, b: number) => [0.2 + 3 * r - g, 0.5 * g + b, b - 0.25 * r];
    const text = lattice(5, f);
    fc.assert(
      fc.property(level, level, level, (r, g, b) => {
        const found = through(text, [r, g, b]);
        f(r, g, b).forEach((value, c) => {
          expect(found[c]).toBeCloseTo(value, 5);
        });
      }),
      { seed: 3, numRuns: 300 },
    );
  });

  test('keeps neutral colours neutral where its entries do, and grey pictures as their green', () => {
    const text = lattice(4, (r, g, b) => [r ** 2, g ** 2 + 0.3 * (r - b), b ** 2]);
    fc.assert(
      fc.property(level, (v) => {
        const [r, g, b] = through(text, [v, v, v]) as [number, number, number];
        expect(g).toBeCloseTo(r, 6);
        expect(b).toBeCloseTo(r, 6);
        expect(through(text, [v])[0]).toBe(g);
      }),
      { seed: 4, numRuns: 100 },
    );
  });

  test('is the table itself at its entries, lines between them, and its border outside the domain', () => {
    const text = 'LUT_1D_SIZE 3\nDOMAIN_MIN -1 0 0\nDOMAIN_MAX 1 1 2\n0 0 1\n0.5 0.2 2\n4 1 3\n';
    expect(through(text, [-1, 0, 0])).toEqual([0, 0, 1]);
    expect(through(text, [0, 0.5, 1])[0]).toBe(0.5);
    expect(through(text, [0.5, 0.25, 0.5])[0]).toBeCloseTo(2.25, 6);
    expect(through(text, [0.5, 0.25, 0.5])[1]).toBeCloseTo(0.1, 6);
    expect(through(text, [9, -3, 9])).toEqual([4, 0, 3]);
  });

  test('reads what editors leave: byte order mark, Windows line ends, comments, input range', () => {
    const text = '\uFEFF# look\r\nLUT_1D_INPUT_RANGE 0 2\r\nLUT_1D_SIZE 2\r\n\r\n0 0 0\r\n1 1 1\r\n';
    expect(parse(text)).toMatchObject({
      dimensions: 1,
      size: 2,
      domain: [
        [0, 0, 0],
        [2, 2, 2],
      ],
    });
  });

  test.each([
    ['0 0 0', /LUT_1D_SIZE or LUT_3D_SIZE/],
    ['LUT_1D_SIZE 1\n0 0 0', /line 1: a whole number of 2/],
    ['LUT_3D_SIZE 5000\n', /2 to 256/],
    ['LUT_1D_SIZE 2\n0 0 0', /1 entries of 2/],
    ['LUT_1D_SIZE 2\n0 0 0\n1 1 1\n2 2 2', /line 4: more entries/],
    ['LUT_1D_SIZE 2\n0 0 nan\n1 1 1', /line 2: three finite/],
    ['LUT_1D_SIZE 2\n0 0 0\nDOMAIN_MIN 0 0 0\n1 1 1', /after the entries/],
    ['LUT_1D_SIZE 2\nLUT_3D_SIZE 2\n', /a second size/],
    ['LUT_1D_SIZE 2\nDOMAIN_MIN 1 1 1\n0 0 0\n1 1 1', /the domain is empty/],
    ['SIZE 3\n', /"SIZE" is not known/],
    ['', /0 entries of an unknown number/],
  ])('refuses %j', (text, why) => {
    expect(() => parse(text)).toThrow(why);
  });

  test('names the file that is missing or no text', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'cube-'));
    const path = join(folder, 'a look.cube');
    await expect(readCubeTable(path)).rejects.toMatchObject({ code: 'TABLE_UNREADABLE' });
    await writeFile(path, Buffer.from([0xff, 0xd8, 0xff, 0x00, 0x41]));
    await expect(readCubeTable(path)).rejects.toThrow(/a look\.cube.*line 1/);
    await rm(folder, { recursive: true });
  });
});
