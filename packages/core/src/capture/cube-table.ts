import { open } from 'node:fs/promises';
import { InputError } from '../job/errors.js';

/** A colour table: recorded red, green, blue to those of another encoding. Numbers lie in shared memory. */
export interface CubeTable {
  /** 1: a curve for each channel; 3: a lattice of colours. */
  readonly dimensions: 1 | 3;
  /** Entries of a curve, or along each side of the lattice. */
  readonly size: number;
  /** Recorded values of the first and the last entry, by channel. */
  readonly domain: readonly [readonly number[], readonly number[]];
  /** Red, green, blue entry by entry; in a lattice red runs fastest. */
  readonly values: Float32Array;
}

/** Largest file that is read, bytes: a lattice of 256 a side in full digits is below. */
const MOST_BYTES = 1 << 30;
const MOST_ENTRIES = { 1: 65_536, 3: 256 } as const;

/**
 * Reads a colour table in the text form of the Cube LUT Specification 1.0 (.cube), one-dimensional or three-dimensional,
 * with a domain or an input range.
 *
 * @throws InputError TABLE_UNREADABLE, naming the file, the line and what is wrong
 */
export async function readCubeTable(path: string): Promise<CubeTable> {
  const file = await open(path, 'r').catch((cause: unknown) => {
    throw new InputError('TABLE_UNREADABLE', `${path} cannot be opened as a colour table (${codeOf(cause)}).`, {
      cause,
    });
  });
  try {
    const { size } = await file.stat();
    if (size > MOST_BYTES) throw unreadable(path, `it is larger than ${MOST_BYTES} bytes`);
    return parseCubeTable(await file.readFile('utf8'), path);
  } catch (cause) {
    if (cause instanceof InputError) throw cause;
    throw unreadable(path, codeOf(cause), cause);
  } finally {
    await file.close();
  }
}

/** {@link readCubeTable} of a text; `path` is for messages. */
export function parseCubeTable(text: string, path: string): CubeTable {
  const head = { dimensions: 0, size: 0, low: [0, 0, 0], high: [1, 1, 1] };
  let values: Float32Array | undefined;
  let filled = 0;
  const lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/);
  for (const [at, raw] of lines.entries()) {
    const line = raw.trim();
    if (line === '' || line.startsWith('#') || line.startsWith('TITLE')) continue;
    const fail = (why: string): InputError => unreadable(path, `line ${at + 1}: ${why}`);
    if (/^[A-Z]/.test(line)) {
      if (values) throw fail(`"${line.split(/\s+/)[0]}" comes after the entries`);
      readKeyword(line, head, fail);
      continue;
    }
    values ??= roomFor(head, fail);
    const entry = numbersOf(line);
    if (entry.length !== 3) throw fail('three finite numbers are expected');
    if (filled === values.length) throw fail(`more entries than the ${values.length / 3} that are announced`);
    values.set(entry, filled);
    filled += 3;
  }
  if (!values || filled < values.length) {
    throw unreadable(path, `it holds ${filled / 3} entries of ${values ? values.length / 3 : 'an unknown number'}`);
  }
  return {
    dimensions: head.dimensions as 1 | 3,
    size: head.size,
    domain: [head.low, head.high],
    values,
  };
}

interface Head {
  dimensions: number;
  size: number;
  low: number[];
  high: number[];
}

function readKeyword(line: string, head: Head, fail: (why: string) => InputError): void {
  const [word, ...rest] = line.split(/\s+/);
  const given = numbersOf(rest.join(' '));
  if (word === 'LUT_1D_SIZE' || word === 'LUT_3D_SIZE') {
    if (head.dimensions !== 0) throw fail('a second size; tables of two parts are not read');
    const dimensions = word === 'LUT_1D_SIZE' ? 1 : 3;
    const [size] = given;
    if (given.length !== 1 || !Number.isInteger(size) || size! < 2 || size! > MOST_ENTRIES[dimensions]) {
      throw fail(`a whole number of 2 to ${MOST_ENTRIES[dimensions]} is expected`);
    }
    head.dimensions = dimensions;
    head.size = size!;
  } else if (word === 'DOMAIN_MIN' || word === 'DOMAIN_MAX') {
    if (given.length !== 3) throw fail('three finite numbers are expected');
    head[word === 'DOMAIN_MIN' ? 'low' : 'high'] = given;
  } else if (word === 'LUT_1D_INPUT_RANGE' || word === 'LUT_3D_INPUT_RANGE') {
    if (given.length !== 2) throw fail('two finite numbers are expected');
    head.low = [given[0]!, given[0]!, given[0]!];
    head.high = [given[1]!, given[1]!, given[1]!];
  } else {
    throw fail(`"${word}" is not known`);
  }
}

function roomFor({ dimensions, size, low, high }: Head, fail: (why: string) => InputError): Float32Array {
  if (dimensions === 0) throw fail('LUT_1D_SIZE or LUT_3D_SIZE is expected before the first entry');
  if (low.some((value, c) => !(value < high[c]!))) throw fail('the domain is empty');
  return new Float32Array(new SharedArrayBuffer(12 * (dimensions === 1 ? size : size ** 3)));
}

function numbersOf(text: string): number[] {
  const numbers = text.split(/\s+/).filter(Boolean).map(Number);
  return numbers.every(Number.isFinite) ? numbers : [];
}

function unreadable(path: string, why: string, cause?: unknown): InputError {
  const message = `${path} cannot be read as a colour table (.cube): ${why}. Export it again, or leave it out.`;
  return new InputError('TABLE_UNREADABLE', message, { cause });
}

function codeOf(cause: unknown): string {
  return cause instanceof Error && 'code' in cause ? String(cause.code) : String(cause);
}
