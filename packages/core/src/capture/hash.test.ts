import { writeFile } from 'node:fs/promises';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { InterruptedError } from '../job/errors.js';
import { sha256File } from './hash.js';

const scratch = useScratch();

test('the standard’s own example', async () => {
  const path = scratch('abc');
  await writeFile(path, 'abc');
  // FIPS 180-4, example "abc".
  expect(await sha256File(path)).toBe('ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad');
});

test('an abort is an interruption', async () => {
  const path = scratch('long');
  await writeFile(path, Buffer.alloc(1 << 22));
  await expect(sha256File(path, AbortSignal.abort())).rejects.toThrow(InterruptedError);
});

test('a missing file is an error', async () => {
  await expect(sha256File(scratch('missing'))).rejects.toThrow('ENOENT');
});
