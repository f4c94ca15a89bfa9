import { existsSync } from 'node:fs';
import type { ProgressListener } from '@plenilune/core';
import { InterruptedError } from '@plenilune/core/errors';
import { type Command, Option } from 'commander';
import { describeFailure, EXIT } from './exit-code.js';
import { createProgressView, silent } from './progress.js';
import { createStyle, printable, wantsColour } from './style.js';

/** Options that every command takes. */
export interface CommonOptions {
  readonly json?: boolean;
  readonly quiet?: boolean;
  readonly color: boolean;
}

/** What {@link runCommand} has to know. */
export interface RunOptions extends CommonOptions {
  /** The folder of finished stages from which the same command, given again, goes on where it was interrupted. */
  readonly keptIn?: string;
}

/** npx passes on an interrupt that the terminal has sent to us already: within this time it is the same one. */
const SAME_KEYSTROKE_MS = 500;

/** How often the line that tells progress is brought up to date. */
const REFRESH_MS = 200;

/** What a command hands back. */
export interface Outcome {
  /** For programs: printed on standard output with `--json`. */
  readonly machine: unknown;
  /** For people: printed on standard error, a line each. */
  readonly summary: readonly string[];
  /** Whether the command did all that it was asked for. */
  readonly complete: boolean;
  /** What the process ends with. Default: 0 when complete, else 4. */
  readonly exitCode?: number;
}

/** What a command is given besides its own arguments. */
export interface Job {
  readonly signal: AbortSignal;
  readonly onProgress: ProgressListener;
  /** Prints lines for people before the work is done. */
  readonly tell: (lines: readonly string[]) => void;
}

/** Adds the options that every command takes. */
export function withCommonOptions(command: Command): Command {
  return command
    .addOption(new Option('--json', 'print the result as JSON on standard output'))
    .addOption(new Option('--quiet', 'print nothing but errors and, with --json, the result'))
    .addOption(new Option('--no-color', 'print no colours; NO_COLOR in the environment does the same'));
}

/**
 * Runs a command's work with progress, interruption and the printing of what comes of it. The first SIGINT or SIGTERM
 * stops the work in good order, the second ends the process at once.
 *
 * @returns the exit code
 */
export async function runCommand(options: RunOptions, work: (job: Job) => Promise<Outcome>): Promise<number> {
  const style = createStyle(wantsColour(process.stderr, options.color));
  const rewrites = process.env.TERM !== 'dumb';
  const progress = options.quiet ? silent : createProgressView(process.stderr, { style, rewrites });
  const refreshing = setInterval(progress.refresh, REFRESH_MS).unref();
  const controller = new AbortController();
  const onSignal = (): void => {
    if (controller.signal.aborted) return;
    setTimeout(stopListening, SAME_KEYSTROKE_MS).unref();
    progress.clear();
    if (!options.quiet) process.stderr.write('stopping; once more to end at once\n');
    controller.abort();
  };
  const stopListening = (): void => {
    process.off('SIGINT', onSignal);
    process.off('SIGTERM', onSignal);
  };
  process.on('SIGINT', onSignal);
  process.on('SIGTERM', onSignal);
  const tell = (lines: readonly string[]): void => {
    progress.clear();
    if (!options.quiet) for (const line of lines) process.stderr.write(`${printable(line)}\n`);
  };
  try {
    const outcome = await work({ signal: controller.signal, onProgress: progress.onProgress, tell });
    tell(outcome.summary);
    if (options.json) printJson(outcome.machine);
    return outcome.exitCode ?? (outcome.complete ? EXIT.done : EXIT.incomplete);
  } catch (error) {
    progress.clear();
    return printFailure(controller.signal.aborted && isStop(error) ? interrupted(options) : error, options);
  } finally {
    clearInterval(refreshing);
    progress.clear();
    stopListening();
  }
}

/** Prints a failure as every command does, and gives the exit code. */
export function printFailure(error: unknown, options: CommonOptions): number {
  const style = createStyle(wantsColour(process.stderr, options.color));
  const { exitCode, code, message } = describeFailure(error);
  process.stderr.write(
    `${style.red('plenilune:')} ${message.split('\n').map(printable).join('\n')} ${style.dim(`[${code}]`)}\n`,
  );
  if (exitCode === EXIT.internalFault && error instanceof Error) process.stderr.write(`${style.dim(trace(error))}\n`);
  if (options.json) printJson({ error: { code, message } });
  return exitCode;
}

function printJson(value: unknown): void {
  process.stdout.write(`${JSON.stringify(value, undefined, 2)}\n`);
}

function isStop(error: unknown): boolean {
  return error instanceof InterruptedError || (error instanceof Error && error.name === 'AbortError');
}

function interrupted({ keptIn }: RunOptions): InterruptedError {
  if (keptIn === undefined || !existsSync(keptIn))
    return new InterruptedError('interrupted; nothing is left behind. To begin again, run the same command');
  const command = ['plenilune', ...process.argv.slice(2)].map(quoted).join(' ');
  return new InterruptedError(
    `interrupted; finished stages are kept in ${keptIn}. To go on from there, run it again: ${command}`,
  );
}

/** A word as a shell takes it. */
function quoted(word: string): string {
  return /^[\w./:=@%+,-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\\''")}'`;
}

/** The stack of a fault of our own, and of what caused it: a report of it is of no use without. */
function trace(error: Error): string {
  const own = error.stack ?? error.message;
  return error.cause instanceof Error ? `${own}\ncaused by ${trace(error.cause)}` : own;
}
