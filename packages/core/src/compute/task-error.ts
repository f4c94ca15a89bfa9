import {
  type ErrorCode,
  InputError,
  InternalError,
  InterruptedError,
  OutputError,
  PleniluneError,
  ResourceError,
  UsageError,
} from '../job/errors.js';
import { explainNoMemory } from '../job/resources.js';

/** An error in a form that crosses between threads without losing its class and code. */
export interface PackedError {
  /** Name of the class. */
  readonly name: string;
  /** Code of a {@link PleniluneError}, or of a system error such as ENOSPC. */
  readonly code: string | undefined;
  readonly message: string;
  readonly stack: string | undefined;
}

/** Packs anything that was thrown. */
export function packError(thrown: unknown): PackedError {
  const error = explainNoMemory(thrown) ?? thrown;
  if (!(error instanceof Error)) return { name: 'Error', code: undefined, message: String(error), stack: undefined };
  const code = 'code' in error && typeof error.code === 'string' ? error.code : undefined;
  const name = error instanceof PleniluneError ? error.name : 'Error';
  return { name, code, message: error.message, stack: error.stack };
}

/**
 * The error that {@link packError} packed: a {@link PleniluneError} of the same class, code and message; a system error
 * with its code; or an {@link InternalError} that names the task, for a fault of our own.
 */
export function unpackError(packed: PackedError, task: string): Error {
  const cause = new Error(packed.message);
  if (packed.stack !== undefined) cause.stack = packed.stack;
  const code = packed.code as ErrorCode;
  switch (packed.name) {
    case 'UsageError':
      return new UsageError(packed.message, { cause });
    case 'InputError':
      return new InputError(code, packed.message, { cause });
    case 'OutputError':
      return new OutputError(code, packed.message, { cause });
    case 'ResourceError':
      return new ResourceError(code, packed.message, { cause });
    case 'InterruptedError':
      return new InterruptedError(packed.message);
    case 'InternalError':
      return new InternalError(packed.message, { cause }, code);
    case 'PleniluneError':
      return new PleniluneError(code, packed.message, { cause });
    default:
      if (packed.code !== undefined) return Object.assign(cause, { code: packed.code });
      return new InternalError(`the task "${task}" failed: ${packed.message}`, { cause });
  }
}
