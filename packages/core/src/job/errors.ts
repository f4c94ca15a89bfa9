/** The stable codes of every failure that the library raises on purpose. */
export type ErrorCode =
  | 'USAGE'
  | 'CAPTURE_UNREADABLE'
  | 'CAPTURE_EMPTY'
  | 'CAPTURE_CHANGED'
  | 'SETTINGS_INVALID'
  | 'PASS_UNUSABLE'
  | 'TABLE_UNREADABLE'
  | 'MAP_UNREADABLE'
  | 'FRAME_UNREADABLE'
  | 'PLATE_UNREADABLE'
  | 'PLATE_DOES_NOT_MATCH'
  | 'PLATE_CHANGED'
  | 'SIDECAR_UNREADABLE'
  | 'PACK_UNREADABLE'
  | 'FACTS_MISSING'
  | 'TRUTH_UNREADABLE'
  | 'NOTHING_PLACED'
  | 'OUTPUT_EXISTS'
  | 'OUTPUT_UNWRITABLE'
  | 'OUTPUT_INSIDE_CAPTURE'
  | 'OUT_OF_SPACE'
  | 'OUT_OF_MEMORY'
  | 'INTERRUPTED'
  | 'WORKER_LOST'
  | 'INTERNAL';

/**
 * Base of every error that the library raises on purpose. The message names what was given, what was expected, and
 * what to do; `code` is stable and meant for programs.
 */
export class PleniluneError extends Error {
  readonly code: ErrorCode;

  constructor(code: ErrorCode, message: string, options?: ErrorOptions) {
    super(message, options);
    this.name = new.target.name;
    this.code = code;
  }
}

/** A setting or argument that cannot be honoured, or one that is needed and was not given. */
export class UsageError extends PleniluneError {
  constructor(message: string, options?: ErrorOptions, code: ErrorCode = 'USAGE') {
    super(code, message, options);
  }
}

/** The capture, a pass, a frame, a plate or a truth folder cannot be used. */
export class InputError extends PleniluneError {}

/** An output cannot be written where it was asked for. */
export class OutputError extends PleniluneError {}

/** Disk or memory ran out. */
export class ResourceError extends PleniluneError {}

/** The caller's `AbortSignal` fired. What was finished stays in the work folder, so that the run can be resumed. */
export class InterruptedError extends PleniluneError {
  constructor(message = 'Interrupted. Finished stages are kept in the work folder; run the same command to resume.') {
    super('INTERRUPTED', message);
  }
}

/** A fault of the library's own, never of the input. */
export class InternalError extends PleniluneError {
  constructor(message: string, options?: ErrorOptions, code: ErrorCode = 'INTERNAL') {
    super(code, message, options);
  }
}

/** Throws {@link InterruptedError} once the signal has fired. */
export function throwIfAborted(signal: AbortSignal | undefined): void {
  if (signal?.aborted) throw new InterruptedError();
}

/** Something that was not used, and why. Losses are data, never only a message. */
export interface LeftOut<Reason extends string = string> {
  /** What was left out: a path relative to the capture, or the name of a pass. */
  readonly item: string;
  /** Stable word for the cause. */
  readonly reason: Reason;
  /** The cause in plain words, with the figures that decided it. */
  readonly detail: string;
}
