import type { LeftOut } from './errors.js';

/** What the figures of a stage count: `pixels` and `bytes` as such, `steps` where nothing better can be said. */
export type ProgressUnit = 'frames' | 'tiles' | 'files' | 'pixels' | 'bytes' | 'steps';

/**
 * What a running job tells its caller. The library itself prints nothing. `subject` names what the stage works on, such
 * as a pass or a file, where a stage runs several times. `done` grows from 0 to `total`, and may be a part of a unit.
 */
export type ProgressEvent =
  | {
      readonly kind: 'stage-start';
      readonly stage: string;
      readonly subject?: string;
      readonly total: number;
      readonly unit: ProgressUnit;
    }
  | {
      readonly kind: 'stage-step';
      readonly stage: string;
      readonly subject?: string;
      readonly done: number;
      readonly total: number;
    }
  | {
      readonly kind: 'stage-end';
      readonly stage: string;
      readonly subject?: string;
      readonly elapsedMs: number;
      readonly resumed: boolean;
    }
  | { readonly kind: 'left-out'; readonly stage: string; readonly loss: LeftOut };

/** Receives every {@link ProgressEvent}, in order. Must not throw. */
export type ProgressListener = (event: ProgressEvent) => void;
