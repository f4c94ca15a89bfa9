import {
  InputError,
  InterruptedError,
  OutputError,
  PleniluneError,
  ResourceError,
  UsageError,
} from '@plenilune/core/errors';

/** What the process ends with. */
export const EXIT = {
  done: 0,
  internalFault: 1,
  badUsage: 2,
  unusableInput: 3,
  incomplete: 4,
  interrupted: 5,
  outOfResources: 6,
} as const;

/** A failure in the words and numbers of the command line. */
export interface Failure {
  readonly exitCode: number;
  readonly code: string;
  readonly message: string;
}

/** Says what an error means to the caller of the command. */
export function describeFailure(error: unknown): Failure {
  const message = error instanceof Error ? error.message : String(error);
  if (error instanceof PleniluneError) return { exitCode: exitCodeOf(error), code: error.code, message };
  if (/\b(ENOSPC|EDQUOT)\b/.test(message)) return { exitCode: EXIT.outOfResources, code: 'OUT_OF_SPACE', message };
  return { exitCode: EXIT.internalFault, code: 'INTERNAL', message };
}

function exitCodeOf(error: PleniluneError): number {
  if (error instanceof UsageError || error instanceof OutputError) return EXIT.badUsage;
  if (error instanceof InputError) return EXIT.unusableInput;
  if (error instanceof InterruptedError) return EXIT.interrupted;
  if (error instanceof ResourceError) return EXIT.outOfResources;
  return EXIT.internalFault;
}
