/**
 * The one public door: every public name is listed here by hand.
 *
 * @packageDocumentation
 */
export {
  type ErrorCode,
  InputError,
  InternalError,
  InterruptedError,
  type LeftOut,
  OutputError,
  PleniluneError,
  ResourceError,
  UsageError,
} from './job/errors.js';
