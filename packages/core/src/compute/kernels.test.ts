import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { Worker } from 'node:worker_threads';
import { describe, expect, test } from 'vitest';
import { ResourceError } from '../job/errors.js';
import { KERNEL_MEMORY_LIMIT, KernelsError, withKernels } from './kernels.js';
import { blurWithKernels } from './kernels-filter.js';

const core = fileURLToPath(new URL('../../', import.meta.url));

describe('memory', () => {
  test('is released with its scope, nested ones and failing ones too, and used again', () => {
    const first = withKernels((scope) => scope.reserve(100));
    withKernels((scope) => {
      const held = scope.put(Float32Array.of(1, 2, 3));
      expect(held.address).toBe(first);
      expect(held.address % 64).toBe(0);
      const inner = withKernels((again) => again.hold(5));
      expect(inner.address).toBeGreaterThan(held.address);
      expect(scope.hold(1).address).toBe(inner.address);
      expect(scope.put(held)).toBe(held);
      expect([...scope.get(held)]).toEqual([1, 2, 3]);
    });
    expect(() =>
      withKernels((scope) => {
        scope.reserve(1);
        throw new Error('on purpose');
      }),
    ).toThrow('on purpose');
    expect(withKernels((scope) => scope.reserve(1))).toBe(first);
  });

  test('grows without losing what is held', () => {
    withKernels((scope) => {
      const held = scope.put(Float32Array.of(4, 5));
      scope.reserve(40 * 2 ** 20);
      expect([...scope.get(held)]).toEqual([4, 5]);
      expect(scope.exports.memory.buffer.byteLength).toBeGreaterThan(40 * 2 ** 20);
    });
  });

  test('has a limit that is told', () => {
    const ask = (): number => withKernels((scope) => scope.reserve(KERNEL_MEMORY_LIMIT));
    expect(ask).toThrow(ResourceError);
    expect(ask).toThrow(/the kernels need 2048 MiB, of at most 2047 MiB a thread/);
    expect(withKernels((scope) => [...scope.get(scope.put(Float32Array.of(7)))])).toEqual([7]);
  });
});

describe('loading', () => {
  const built = pathToFileURL(join(core, 'dist', 'compute', 'kernels-filter.js')).href;
  const plane = { width: 3, height: 2, data: Float32Array.of(1, 2, 3, 4, 5, 7) };

  test('works in a worker thread, from the built files, with the same bits', async () => {
    const code = `
      import { parentPort } from 'node:worker_threads';
      const { blurWithKernels } = await import(${JSON.stringify(built)});
      const data = Float32Array.of(1, 2, 3, 4, 5, 7);
      parentPort.postMessage(blurWithKernels({ width: 3, height: 2, data }, 1.2).data);`;
    const worker = new Worker(new URL(`data:text/javascript,${encodeURIComponent(code)}`));
    const answer = await new Promise((resolve, reject) => {
      worker.once('message', resolve);
      worker.once('error', reject);
    });
    await worker.terminate();
    expect(answer).toEqual(blurWithKernels(plane, 1.2).data);
  });

  test('says what to do when the module is missing', () => {
    const folder = mkdtempSync(join(tmpdir(), 'kernels-'));
    try {
      cpSync(join(core, 'dist'), join(folder, 'dist'), { recursive: true });
      cpSync(join(core, 'package.json'), join(folder, 'package.json'));
      const file = pathToFileURL(join(folder, 'dist', 'compute', 'kernels.js')).href;
      const said = run(`const { withKernels } = await import(${JSON.stringify(file)}); withKernels(() => 0);`);
      expect(said).toMatch(/KernelsError: INTERNAL: the compiled kernels are missing: ENOENT.*npm run build/);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });

  test('says what to do when the program has no WebAssembly', () => {
    const said = run(`
      delete globalThis.WebAssembly;
      const { blurWithKernels } = await import(${JSON.stringify(built)});
      blurWithKernels({ width: 1, height: 1, data: Float32Array.of(1) }, 1);`);
    expect(said).toMatch(/KernelsError: INTERNAL: this program cannot run the compiled kernels.*Use Node 20\.10/);
  });

  test('errors are of a class of their own', () => {
    expect(new KernelsError('x')).toMatchObject({ name: 'KernelsError', code: 'INTERNAL' });
  });

  /** Runs a module in a process of its own; what it throws. */
  function run(code: string): string {
    const caught = `try { ${code} } catch (e) { console.log(e.name + ': ' + e.code + ': ' + e.message); }`;
    return execFileSync(process.execPath, ['--input-type=module', '-e', caught], { encoding: 'utf8' });
  }
});
