import { stat, writeFile } from 'node:fs/promises';
import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { useScratch } from '../../test/scratch.js';
import { createFloats } from '../compute/image.js';
import { InternalError } from './errors.js';
import { readFloats, writeFloats } from './floats.js';

const scratch = useScratch();

describe('writeFloats and readFloats', () => {
  it('give arrays back to the bit, in order, views and shared memory included', async () => {
    const backing = Float32Array.from({ length: 40 }, (_, i) => Math.sin(i));
    const shared = createFloats(5, true);
    shared.set([1e-38, -0, Number.POSITIVE_INFINITY, Number.NaN, 3]);
    const path = scratch('views.f32');
    await writeFloats(path, [backing.subarray(7, 19), new Float32Array(0), shared]);
    expect((await stat(path)).size).toBe(4 * 17);
    const target = new Float32Array(30).fill(9);
    const sharedBack = createFloats(5, true);
    await readFloats(path, [target.subarray(10, 22), sharedBack]);
    expect([...target.subarray(0, 10), ...target.subarray(22)]).toEqual(new Array(18).fill(9));
    expectSamples(target.subarray(10, 22), backing.subarray(7, 19));
    expect([...sharedBack]).toEqual([...shared]);
  });

  it('work on arrays longer than one chunk of 16 MiB', async () => {
    const long = Float32Array.from({ length: 4_300_000 }, (_, i) => (i * 2654435761) % 4096);
    const path = scratch('long.f32');
    await writeFloats(path, [long, Float32Array.of(42)]);
    const back = new Float32Array(long.length);
    const tail = new Float32Array(1);
    await readFloats(path, [back, tail]);
    expectSamples(back, long);
    expect(tail[0]).toBe(42);
  });

  it('replaces what was there before', async () => {
    const path = scratch('again.f32');
    await writeFloats(path, [Float32Array.of(1, 2, 3)]);
    await writeFloats(path, [Float32Array.of(4)]);
    expect((await stat(path)).size).toBe(4);
  });

  it('says so when a file ends early', async () => {
    const path = scratch('short.f32');
    await writeFile(path, Buffer.alloc(10));
    const reading = readFloats(path, [new Float32Array(3)]);
    await expect(reading).rejects.toThrow(InternalError);
    await expect(reading).rejects.toThrow(/short\.f32 ends early; delete the work folder/);
  });
});
