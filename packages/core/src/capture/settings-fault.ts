import { InputError } from '../job/errors.js';

/** Something in `capture.yaml` that cannot be honoured, and where it stands. Lines and columns count from 1. */
export interface SettingsFault {
  readonly line: number;
  readonly column: number;
  /** What was found, what was expected, what to do. */
  readonly message: string;
}

/** `capture.yaml` cannot be used; `faults` holds all that is wrong with it. The code is `SETTINGS_INVALID`. */
export class SettingsError extends InputError {
  readonly faults: readonly SettingsFault[];

  constructor(path: string, faults: readonly SettingsFault[]) {
    const sorted = [...faults].sort((a, b) => a.line - b.line || a.column - b.column);
    const shown = sorted
      .slice(0, MOST_SHOWN)
      .map(({ line, column, message }) => `line ${line}, column ${column}: ${message}`);
    const more = sorted.length > MOST_SHOWN ? `\n  and ${sorted.length - MOST_SHOWN} more` : '';
    const count = sorted.length === 1 ? 'a fault' : `${sorted.length} faults`;
    super('SETTINGS_INVALID', `${path} has ${count}:\n  ${shown.join('\n  ')}${more}`);
    this.faults = sorted;
  }
}

/** Faults that a message lists; `faults` has them all. */
const MOST_SHOWN = 20;
