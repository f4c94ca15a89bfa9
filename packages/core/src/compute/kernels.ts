import { readFileSync } from 'node:fs';
import { InternalError, ResourceError } from '../job/errors.js';
import type { KernelExports, KernelMemory } from './kernels-exports.js';

/** The WebAssembly kernels cannot be used: the module is missing or this program cannot run it. */
export class KernelsError extends InternalError {}

/** Numbers that lie in the memory of the kernels for as long as the scope that holds them is open. */
export interface HeldFloats {
  /** Byte address. */
  readonly address: number;
  readonly length: number;
}

/** What a kernel reads: a typed array, which is copied in, or numbers that are held already, which are not. */
export type KernelFloats = Float32Array | HeldFloats;

/** Memory of the kernels while {@link withKernels} runs. */
export interface KernelScope {
  readonly exports: KernelExports;
  /** Room for so many bytes, on a multiple of 64, not cleared; released when the scope ends. */
  readonly reserve: (bytes: number) => number;
  /** Room for so many numbers, not cleared. */
  readonly hold: (length: number) => HeldFloats;
  /** Brings numbers in; held ones are given back as they are. */
  readonly put: (floats: KernelFloats) => HeldFloats;
  /** A copy of what is held, in `into` when given. */
  readonly get: (held: HeldFloats, into?: Float32Array) => Float32Array;
  /** A window on the memory, good until the next call that reserves, holds or puts. */
  readonly floats: (address: number, length: number) => Float32Array;
  readonly doubles: (address: number, length: number) => Float64Array;
  readonly bytes: (address: number, length: number) => Uint8Array;
}

/** Most memory that the kernels of one thread use, bytes. */
export const KERNEL_MEMORY_LIMIT: number = 2 ** 31 - 65_536;

/**
 * Runs `work` with the kernels. What it holds is released when it returns, so it must not be asynchronous; scopes may
 * be nested, and kernels that take {@link KernelFloats} do not copy what an outer scope holds. The module is compiled
 * once per thread, single-threaded, and gives the same bits everywhere. The memory grows to the largest need so far and
 * stays for the next call.
 *
 * @throws KernelsError when the module is missing or WebAssembly SIMD is.
 * @throws ResourceError `OUT_OF_MEMORY` when more than {@link KERNEL_MEMORY_LIMIT} bytes are needed or there are no more.
 */
export function withKernels<T>(work: (scope: KernelScope) => T): T {
  instance ??= open();
  const before = instance.top;
  try {
    return work(instance.scope);
  } finally {
    instance.top = before;
  }
}

interface Instance {
  readonly scope: KernelScope;
  /** First free byte. */
  top: number;
}

let instance: Instance | undefined;

function open(): Instance {
  const exports = instantiate();
  const { memory } = exports;
  const reserve = (bytes: number): number => {
    const address = opened.top;
    const end = address + ALIGNMENT * Math.ceil(bytes / ALIGNMENT) + SLACK;
    if (end > memory.buffer.byteLength) grow(memory, end);
    opened.top = end;
    return address;
  };
  const floats = (address: number, length: number): Float32Array => new Float32Array(memory.buffer, address, length);
  const hold = (length: number): HeldFloats => ({ address: reserve(4 * length), length });
  const scope: KernelScope = {
    exports,
    reserve,
    hold,
    put: (from) => {
      if (!(from instanceof Float32Array)) return from;
      const held = hold(from.length);
      floats(held.address, held.length).set(from);
      return held;
    },
    get: (held, into = new Float32Array(held.length)) => {
      into.set(floats(held.address, held.length));
      return into;
    },
    floats,
    doubles: (address, length) => new Float64Array(memory.buffer, address, length),
    bytes: (address, length) => new Uint8Array(memory.buffer, address, length),
  };
  const opened: Instance = { scope, top: exports.freeFrom() };
  return opened;
}

const PAGE = 65_536;
const ALIGNMENT = 64;
/** Kernels may read, never use, up to this many bytes behind a plane. */
const SLACK = 64;

function grow(memory: KernelMemory, bytes: number): void {
  const have = memory.buffer.byteLength;
  if (bytes <= KERNEL_MEMORY_LIMIT) {
    // A third more than needed, as far as there is room, so that growing in small steps does not copy often.
    for (const wish of [Math.min(KERNEL_MEMORY_LIMIT, Math.ceil((4 * bytes) / 3)), bytes]) {
      try {
        memory.grow(Math.ceil((wish - have) / PAGE));
        return;
      } catch {}
    }
  }
  throw new ResourceError(
    'OUT_OF_MEMORY',
    `the kernels need ${Math.ceil(bytes / 2 ** 20)} MiB, of at most ${Math.floor(KERNEL_MEMORY_LIMIT / 2 ** 20)} MiB a thread; ` +
      'use smaller pictures, fewer workers or a machine with more memory',
  );
}

function instantiate(): KernelExports {
  const file = new URL('../../dist-kernels/kernels.wasm', import.meta.url);
  let bytes: Uint8Array<ArrayBuffer>;
  try {
    bytes = new Uint8Array(readFileSync(file));
  } catch (error) {
    throw new KernelsError(`the compiled kernels are missing: ${reasonOf(error)}. ${REPAIR}`, { cause: error });
  }
  try {
    const { WebAssembly } = globalThis as unknown as { readonly WebAssembly: WebAssemblyApi };
    return new WebAssembly.Instance(new WebAssembly.Module(bytes), {}).exports;
  } catch (error) {
    const message = `this program cannot run the compiled kernels, which need WebAssembly with SIMD: ${reasonOf(error)}. ${REPAIR}`;
    throw new KernelsError(message, { cause: error });
  }
}

const REPAIR =
  'Use Node 20.10 or newer without switches that turn WebAssembly off; in a clone run "npm run build", else install the package again';

/** The part of WebAssembly's interface that is used here; the types of this project leave browsers out. */
interface WebAssemblyApi {
  readonly Module: new (bytes: Uint8Array<ArrayBuffer>) => object;
  readonly Instance: new (module: object, imports: object) => { readonly exports: KernelExports };
}

function reasonOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
