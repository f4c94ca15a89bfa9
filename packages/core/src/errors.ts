/**
 * The small door `@plenilune/core/errors`: what a program needs to tell of a failure before it has loaded the library. The
 * classes are those of the whole door, so that `instanceof` holds for either.
 *
 * @packageDocumentation
 */
export { nearestName } from './capture/settings-nearest.js';
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
