import { existsSync } from 'node:fs';
import { mkdir, mkdtemp, readdir, readFile, rm, truncate, writeFile } from 'node:fs/promises';
import { hostname, tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, test } from 'vitest';
import { createWorkerPool } from '../compute/pool.js';
import { runJob, type StageContext } from './context.js';
import { InterruptedError } from './errors.js';
import type { ProgressEvent } from './progress.js';
import { type Artefact, runStage, type StageHandle } from './stage.js';
import { prepareWorkFolder } from './work-folder.js';

const base = await mkdtemp(join(tmpdir(), 'stage test '));
afterAll(() => rm(base, { recursive: true }));

let workDir: string;
let events: ProgressEvent[];
let runs: number;
beforeEach(async () => {
  workDir = await mkdtemp(join(base, 'work-'));
  events = [];
  runs = 0;
});

const context = (signal?: AbortSignal): StageContext => ({
  workDir,
  signal,
  onProgress: (event) => events.push(event),
});

const writePixels = async (handle: StageHandle): Promise<{ mean: number }> => {
  runs++;
  handle.step(1);
  await writeFile(handle.path('strip.f32'), Buffer.alloc(400, runs));
  handle.step(2);
  return { mean: 0.25 };
};
const stripStage = (key: unknown, signal?: AbortSignal): Promise<Artefact<{ mean: number }>> =>
  runStage(context(signal), { name: 'strip', key, total: 2, run: writePixels });

describe('an artefact', () => {
  test('is made whole, under a name from its key, and told about', async () => {
    const made = await stripStage({ pass: 'p1', grade: 0.5 });
    expect(made.result).toEqual({ mean: 0.25 });
    expect(made.resumed).toBe(false);
    expect(await readFile(made.path('strip.f32'))).toEqual(Buffer.alloc(400, 1));
    const names = await readdir(workDir);
    expect(names).toHaveLength(1);
    expect(names[0]).toMatch(/^strip-[0-9a-f]{16}$/);
    const record: unknown = JSON.parse(
      await readFile(made.path('strip.f32').replace('strip.f32', 'artefact.json'), 'utf8'),
    );
    expect(record).toMatchObject({
      version: 1,
      stage: 'strip',
      key: { pass: 'p1', grade: 0.5 },
      result: { mean: 0.25 },
      files: [{ name: 'strip.f32', bytes: 400 }],
    });
    expect(events).toEqual([
      { kind: 'stage-start', stage: 'strip', total: 2, unit: 'steps' },
      { kind: 'stage-step', stage: 'strip', done: 1, total: 2 },
      { kind: 'stage-step', stage: 'strip', done: 2, total: 2 },
      { kind: 'stage-end', stage: 'strip', elapsedMs: expect.any(Number), resumed: false },
    ]);
  });

  test('is used again for the same key, whatever the order of its properties', async () => {
    const made = await stripStage({ pass: 'p1', grade: 0.5 });
    events = [];
    const again = await stripStage({ grade: 0.5, pass: 'p1' });
    expect(runs).toBe(1);
    expect(again).toMatchObject({ result: made.result, folder: made.folder, resumed: true });
    expect(events.map(({ kind }) => kind)).toEqual(['stage-start', 'stage-end']);
    expect(events[1]).toMatchObject({ resumed: true });
  });

  test('is made anew for another key, beside the first', async () => {
    await stripStage({ pass: 'p1' });
    await stripStage({ pass: 'p2' });
    expect(runs).toBe(2);
    expect(await readdir(workDir)).toHaveLength(2);
  });

  test.each([
    ['a pixel file is short', (path: Artefact<unknown>['path']) => truncate(path('strip.f32'), 396)],
    ['a pixel file is gone', (path: Artefact<unknown>['path']) => rm(path('strip.f32'))],
    ['its record is cut', (_: unknown, record: string) => truncate(record, 40)],
    ['its record is gone', (_: unknown, record: string) => rm(record)],
    ['its record is of another key', (_: unknown, record: string) => writeFile(record, '{"version":1,"files":[]}')],
  ])('is made anew when %s', async (_why, damage) => {
    const { path, folder } = await stripStage({ pass: 'p1' });
    await damage(path, join(folder, 'artefact.json'));
    const again = await stripStage({ pass: 'p1' });
    expect(runs).toBe(2);
    expect(again.resumed).toBe(false);
    expect(await readFile(again.path('strip.f32'))).toEqual(Buffer.alloc(400, 2));
    expect((await stripStage({ pass: 'p1' })).resumed).toBe(true);
  });

  test('is the same for any number of workers', async () => {
    const folders = [];
    for (const workers of [1, 2, 3]) {
      const run = async (): Promise<number> => ++runs;
      folders.push(
        await runJob({ workDir, workers }, async (job) => {
          expect(job.pool.workers).toBe(workers);
          return (await runStage(job, { name: 'grade', key: 1, run })).folder;
        }),
      );
    }
    expect(new Set(folders).size).toBe(1);
    expect(runs).toBe(1);
  });

  test('gives the same result fresh and resumed', async () => {
    const run = async (): Promise<unknown> => ({ zero: -0, maybe: undefined, third: 1 / 3 });
    const fresh = await runStage(context(), { name: 'grade', key: 1, run });
    const resumed = await runStage(context(), { name: 'grade', key: 1, run });
    expect(fresh.result).toStrictEqual({ zero: 0, third: 1 / 3 });
    expect(resumed.result).toStrictEqual(fresh.result);
  });

  test('of two runs at once is one', async () => {
    const both = await Promise.all([stripStage('same'), stripStage('same')]);
    expect(both[0].folder).toBe(both[1].folder);
    expect(await readdir(workDir)).toHaveLength(1);
    expect((await stripStage('same')).resumed).toBe(true);
  });
});

describe('a stage that ends early leaves nothing', () => {
  test('when it throws', async () => {
    const run = async (handle: StageHandle): Promise<void> => {
      await writeFile(handle.path('half.f32'), 'half');
      throw new Error('no luck');
    };
    await expect(runStage(context(), { name: 'strip', key: 1, run })).rejects.toThrow('no luck');
    expect(await readdir(workDir)).toEqual([]);
    expect(events.map(({ kind }) => kind)).toEqual(['stage-start']);
  });

  test('when the result cannot be recorded', async () => {
    const stage = { name: 'strip', key: 1, run: async () => ({ mean: Number.NaN }) };
    await expect(runStage(context(), stage)).rejects.toThrow('$.result.mean is NaN');
    expect(await readdir(workDir)).toEqual([]);
  });

  test('when it is cancelled in a worker, and the next run begins it anew', async () => {
    const workerFile = new URL('../../test/pool-worker.mjs', import.meta.url);
    const pool = createWorkerPool({ workers: 1, workerFile });
    const controller = new AbortController();
    const { signal } = controller;
    const run = async (handle: StageHandle): Promise<void> => {
      await writeFile(handle.path('half.f32'), 'half');
      setTimeout(() => controller.abort(), 100);
      await pool.run({ name: 'wait' }, { ms: 60_000 }, { signal });
    };
    await expect(runStage(context(signal), { name: 'strip', key: 1, run })).rejects.toBeInstanceOf(InterruptedError);
    expect(await readdir(workDir)).toEqual([]);
    await expect(stripStage(1, signal)).rejects.toBeInstanceOf(InterruptedError);
    expect(runs).toBe(0);
    expect((await stripStage(1)).resumed).toBe(false);
    await pool.close();
  });

  test('when the need is more than the disk has', async () => {
    const stage = { name: 'strip', key: 1, needBytes: 1e18, run: async () => 1 };
    const pattern = /^no space left for the stage "strip" in .+: it needs 953674316407 MiB, and \d+ MiB is free/;
    await expect(runStage(context(), stage)).rejects.toThrow(pattern);
    await expect(runStage(context(), stage)).rejects.toMatchObject({ name: 'ResourceError', code: 'OUT_OF_SPACE' });
    expect(await readdir(workDir)).toEqual([]);
  });

  test('when memory cannot be had', async () => {
    const run = async (): Promise<number> => new ArrayBuffer(2 ** 46).byteLength;
    const failed = runStage(context(), { name: 'strip', key: 1, run });
    await expect(failed).rejects.toMatchObject({ name: 'ResourceError', code: 'OUT_OF_MEMORY' });
    expect(await readdir(workDir)).toEqual([]);
  });

  // /dev/full answers every write with ENOSPC.
  test.runIf(existsSync('/dev/full'))('when the disk fills up on the way', async () => {
    const run = async (handle: StageHandle): Promise<void> => {
      await writeFile(handle.path('half.f32'), Buffer.alloc(3 * 2 ** 20));
      await writeFile('/dev/full', 'more');
    };
    const failed = runStage(context(), { name: 'strip', key: 1, needBytes: 2 ** 22, run });
    await expect(failed).rejects.toMatchObject({ name: 'ResourceError', code: 'OUT_OF_SPACE' });
    await expect(failed).rejects.toThrow(/in .*stage test .*: 3 MiB of about 4 MiB needed had been written/);
    expect(await readdir(workDir)).toEqual([]);
  });
});

test.each(['../out.f32', 'a/b.f32', '', '.hidden', 'artefact.json'])('"%s" is no file of an artefact', async (file) => {
  const run = async (handle: StageHandle): Promise<string> => handle.path(file);
  await expect(runStage(context(), { name: 'strip', key: 1, run })).rejects.toThrow('expected a plain file name');
});

test('the work folder is made, and cleared only of what dead processes of this machine left', async () => {
  const folder = join(workDir, 'deep', 'work');
  expect(await prepareWorkFolder(folder)).toEqual([]);
  const host = encodeURIComponent(hostname());
  // Process numbers end at 2^22 on Linux; process 1 always lives.
  const dead = `.unfinished,4194999,${host},strip,abc`;
  const recycled = `.unfinished,${process.pid},${host},strip,abc`;
  const kept = ['strip-0123456789abcdef', `.unfinished,1,${host},strip,abc`, '.unfinished,4194999,elsewhere,strip,abc'];
  for (const name of [...kept, dead, recycled]) await mkdir(join(folder, name));
  const run = async (): Promise<readonly string[]> => prepareWorkFolder(folder);
  const { result } = await runStage({ ...context(), workDir: folder }, { name: 'live', key: 1, run });
  expect([...result].sort()).toEqual([dead, recycled].sort());
  expect((await readdir(folder)).filter((name) => !name.startsWith('live-')).sort()).toEqual(kept.sort());
});
