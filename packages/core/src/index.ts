/**
 * The one public door: every public name is listed here by hand.
 *
 * @packageDocumentation
 */
export type { RecordedCurve } from './capture/read-still.js';
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
export type { ProgressEvent, ProgressListener } from './job/progress.js';
export {
  REHEARSAL_DEFAULTS,
  type RehearsalOptions,
  type RehearsalSeeing,
  type RehearsalSettings,
  type RehearsalSummary,
  rehearse,
} from './rehearsal/rehearse.js';
export { type ScoreOptions, type ScoreReport, scorePlate } from './rehearsal/score.js';
export { type StitchOptions, type StitchResult, stitch } from './stitch.js';
