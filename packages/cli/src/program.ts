import { readFileSync } from 'node:fs';
import { UsageError } from '@plenilune/core/errors';
import { Command, CommanderError } from 'commander';
import { addCheck } from './commands/check.js';
import { addCompletion } from './commands/completion.js';
import { addPlan } from './commands/plan.js';
import { addPublish } from './commands/publish.js';
import { addRehearse } from './commands/rehearse.js';
import { addScore } from './commands/score.js';
import { addStitch } from './commands/stitch.js';
import { EXIT } from './exit-code.js';
import { printFailure } from './run.js';
import { usageMessage } from './usage-message.js';

/** Reads the command line, runs the command and returns the exit code. */
export async function runProgram(args: readonly string[]): Promise<number> {
  let exitCode: number = EXIT.done;
  const program = new Command('plenilune')
    .description('One true oversized plate from locked-off passes of the drifting Moon.')
    .version(packageVersion())
    .showSuggestionAfterError(false)
    .configureOutput({ outputError: () => {} })
    .configureHelp({ helpWidth: 100, showGlobalOptions: false })
    .addHelpText('after', EXIT_CODES);
  const settle = (code: number): void => {
    exitCode = code;
  };
  for (const addCommand of [addPlan, addRehearse, addCheck, addStitch, addPublish, addScore, addCompletion])
    addCommand(program, settle);
  for (const command of [program, ...program.commands]) command.exitOverride((error) => leave(error, command));
  try {
    await program.parseAsync(args, { from: 'user' });
    return exitCode;
  } catch (error) {
    if (error instanceof UsageError) return printFailure(error, commonOptionsOf(args));
    if (!(error instanceof CommanderError)) throw error;
    // Without any argument the help has been printed on standard error already.
    return error.exitCode === 0 ? EXIT.done : EXIT.badUsage;
  }
}

/** Ends the reading of a command line: after help, or with what is wrong in the project's own words. */
function leave(error: CommanderError, command: Command): never {
  if (error.exitCode === 0 || error.code === 'commander.help') throw error;
  throw new UsageError(usageMessage(error, command));
}

const EXIT_CODES = `
Exit codes:
  0 done   1 internal fault   2 bad usage   3 unusable input   4 done, but the plate is incomplete, or no plan
  5 interrupted, resumable    6 out of space or memory

Never point optics at or near the Sun without a certified full-aperture filter. A thin crescent stands near it.`;

function packageVersion(): string {
  const manifest: unknown = JSON.parse(readFileSync(new URL('../package.json', import.meta.url), 'utf8'));
  return (manifest as { readonly version: string }).version;
}

/** The common options, when the command line could not be parsed as a whole. */
function commonOptionsOf(args: readonly string[]): { readonly json: boolean; readonly color: boolean } {
  return { json: args.includes('--json'), color: !args.includes('--no-color') };
}
