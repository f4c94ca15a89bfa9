import { execFileSync } from 'node:child_process';
import { getEventListeners } from 'node:events';
import { afterEach, describe, expect, test } from 'vitest';
import { InputError, InternalError, InterruptedError, ResourceError, UsageError } from '../job/errors.js';
import { createWorkerPool, type WorkerPool, type WorkerPoolOptions } from './pool.js';
import { defineTask } from './task.js';

const workerFile = new URL('../../test/pool-worker.mjs', import.meta.url);
const double = defineTask<number, number>('double');
const meet = defineTask<{ arrived: Int32Array; count: number }, number>('meet');
const fill = defineTask<{ pixels: Float32Array; from: number; to: number }, void>('fill');
const sum = defineTask<Float32Array, number>('sum');
const wait = defineTask<{ ms: number; value: number }, number>('wait');
const spin = defineTask<Int32Array, never>('spin');
const refuse = defineTask<string, never>('refuse');
const exit = defineTask<number, never>('exit');
const hoard = defineTask<null, never>('hoard');

const open: WorkerPool[] = [];
const createPool = (options: WorkerPoolOptions = {}): WorkerPool => {
  const pool = createWorkerPool({ workerFile, workers: 2, ...options });
  open.push(pool);
  return pool;
};
afterEach(async () => {
  await Promise.all(open.splice(0).map((pool) => pool.close()));
});

describe('work', () => {
  test('reaches several threads at the same time', async () => {
    const pool = createPool({ workers: 3 });
    const arrived = new Int32Array(new SharedArrayBuffer(4));
    const ids = await pool.map(meet, Array(3).fill({ arrived, count: 3 }));
    expect(new Set(ids).size).toBe(3);
    expect(ids).not.toContain(0);
    expect(arrived[0]).toBe(3);
  });

  test('comes back in the order of the inputs', async () => {
    const inputs = Array.from({ length: 12 }, (_, value) => ({ ms: (7 * value) % 12, value }));
    expect(await createPool().map(wait, inputs)).toEqual(inputs.map(({ value }) => value));
  });

  test('writes into shared memory without a copy', async () => {
    const pixels = new Float32Array(new SharedArrayBuffer(40));
    await createPool().map(
      fill,
      [0, 4, 8].map((from) => ({ pixels, from, to: Math.min(from + 4, 10) })),
    );
    expect([...pixels]).toEqual([1, 1, 1, 1, 5, 5, 5, 5, 9, 9]);
  });

  test('moves the buffers that it is told to move', async () => {
    const pixels = Float32Array.of(1, 2, 3.5);
    expect(await createPool().run(sum, pixels, { transfer: [pixels.buffer] })).toBe(6.5);
    expect(pixels.length).toBe(0);
  });

  test('pulls no more inputs than the bound allows', async () => {
    let pulled = 0;
    let done = 0;
    let ahead = 0;
    function* inputs(): Generator<{ ms: number; value: number }> {
      while (pulled < 20) {
        ahead = Math.max(ahead, ++pulled - done);
        yield { ms: 1, value: pulled };
      }
    }
    const onDone = (count: number): void => {
      expect(count).toBe(done + 1);
      done = count;
    };
    await createPool({ maxQueued: 1 }).map(wait, inputs(), { onDone });
    expect(done).toBe(20);
    expect(ahead).toBe(3);
  });

  test('runs in the built library with its own worker file, and lets the process end', () => {
    const script = `
      import { createWorkerPool } from './dist/compute/pool.js';
      const pool = createWorkerPool({ workers: 1 });
      process.stdout.write(await pool.run({ name: 'none' }, 0).catch((error) => error.message));`;
    const args = ['--input-type=module', '--eval', script];
    const cwd = new URL('../../', import.meta.url);
    const printed = execFileSync(process.execPath, args, { cwd, encoding: 'utf8', timeout: 20_000 });
    expect(printed).toContain('the worker file implements no task named "none"');
  });
});

describe('failures', () => {
  test.each([
    ['input', InputError, 'PASS_UNUSABLE', 'the pass "p1" has no frames'],
    ['usage', UsageError, 'USAGE', '"radius" is -1; expected 0 or more'],
    ['space', Error, 'ENOSPC', 'ENOSPC: no space left on device, write'],
    ['memory', ResourceError, 'OUT_OF_MEMORY', 'memory ran out: Array buffer allocation failed; use fewer workers'],
    ['bug', InternalError, 'INTERNAL', 'the task "refuse" failed: x is not a function'],
  ] as const)('come back as they were thrown: %s', async (kind, type, code, message) => {
    const error: unknown = await createPool()
      .run(refuse, kind)
      .catch((thrown) => thrown);
    expect(error).toBeInstanceOf(type);
    expect(error).toMatchObject({ code, message });
  });

  test('stop a map, which starts nothing more', async () => {
    let pulled = 0;
    function* inputs(): Generator<string> {
      for (; pulled < 50; pulled++) yield 'input';
    }
    const pool = createPool({ maxQueued: 0 });
    await expect(pool.map(refuse, inputs())).rejects.toThrow('the pass "p1" has no frames');
    expect(pulled).toBeLessThanOrEqual(2);
  });

  test('of a whole thread reject what it did, and the pool goes on', async () => {
    const pool = createPool({ workers: 1 });
    await expect(pool.run(exit, 3)).rejects.toMatchObject({ name: 'InternalError', code: 'WORKER_LOST' });
    expect(await pool.map(double, [1, 2, 3])).toEqual([2, 4, 6]);
  });

  test('of a thread whose heap is full are told apart', async () => {
    const pool = createPool({ workers: 1, heapMiB: 24 });
    const error: unknown = await pool.run(hoard, null).catch((thrown) => thrown);
    expect(error).toBeInstanceOf(ResourceError);
    expect(error).toMatchObject({ code: 'OUT_OF_MEMORY' });
    expect(await pool.run(double, 4)).toBe(8);
  });

  test('of an input that cannot cross are ours, and the pool goes on', async () => {
    const pool = createPool({ workers: 1 });
    const input = { ms: 1, value: (() => 1) as unknown as number };
    await expect(pool.run(wait, input)).rejects.toMatchObject({ name: 'InternalError', code: 'INTERNAL' });
    await expect(pool.run(wait, input)).rejects.toThrow('the input of the task "wait" cannot cross to a worker');
    expect(await pool.run(double, 4)).toBe(8);
  });

  test('of a worker file that cannot be loaded reject every task', async () => {
    const pool = createPool({ workerFile: new URL('missing.mjs', workerFile) });
    const results = await Promise.allSettled([1, 2, 3].map((value) => pool.run(double, value)));
    for (const result of results) {
      expect(result).toMatchObject({ status: 'rejected', reason: { code: 'WORKER_LOST' } });
    }
  });
});

describe('cancelling', () => {
  test('ends a running task at once, drops queued ones, and the pool goes on', async () => {
    const pool = createPool({ workers: 1 });
    const controller = new AbortController();
    const { signal } = controller;
    const started = new Int32Array(new SharedArrayBuffer(4));
    const running = pool.run(spin, started, { signal });
    const arrived = new Int32Array(new SharedArrayBuffer(4));
    const queued = pool.run(meet, { arrived, count: 1 }, { signal });
    const results = Promise.allSettled([running, queued]);
    while (started[0] === 0) await new Promise((resolve) => setTimeout(resolve, 5));
    const abortedMs = performance.now();
    controller.abort();
    for (const { status, reason } of (await results) as PromiseRejectedResult[]) {
      expect(status).toBe('rejected');
      expect(reason).toBeInstanceOf(InterruptedError);
    }
    expect(performance.now() - abortedMs).toBeLessThan(500);
    expect(await pool.run(double, 21)).toBe(42);
    expect(arrived[0]).toBe(0);
  });

  test('a map rejects and pulls nothing more', async () => {
    const controller = new AbortController();
    let pulled = 0;
    function* inputs(): Generator<{ ms: number; value: number }> {
      for (; pulled < 1000; pulled++) yield { ms: 1, value: pulled };
    }
    const onDone = (done: number): void => {
      if (done === 5) controller.abort();
    };
    const mapped = createPool().map(wait, inputs(), { signal: controller.signal, onDone });
    await expect(mapped).rejects.toBeInstanceOf(InterruptedError);
    expect(pulled).toBeLessThan(12);
  });

  test('many tasks share one listener on a signal, which goes when they are done', async () => {
    const { signal } = new AbortController();
    const pool = createPool();
    const both = Promise.all([pool.map(double, [1, 2, 3], { signal }), pool.run(double, 4, { signal })]);
    expect(getEventListeners(signal, 'abort')).toHaveLength(1);
    expect(await both).toEqual([[2, 4, 6], 8]);
    expect(getEventListeners(signal, 'abort')).toHaveLength(0);
  });

  test('closing rejects what is under way and refuses more', async () => {
    const pool = createPool();
    const running = expect(pool.run(wait, { ms: 60_000, value: 1 })).rejects.toBeInstanceOf(InterruptedError);
    await pool.close();
    await running;
    await expect(pool.run(double, 1)).rejects.toThrow('the worker pool was closed');
  });
});

test('a pool needs a whole number of workers', () => {
  expect(() => createWorkerPool({ workers: 0 })).toThrow('"workers" is 0; expected a whole number, 1 or more');
});
