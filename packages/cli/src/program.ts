import { readFileSync } from 'node:fs';
import { UsageError } from '@plenilune/core';
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

/** Reads the command line, runs the command and returns the exit code. */
export async function runProgram(args: readonly string[]): Promise<number> {
  let exitCode: number = EXIT.done;
  const program = new Command('plenilune')
    .description('One true oversized plate from locked-off passes of the drifting Moon.')
    .version(packageVersion())
    .exitOverride()
    .configureOutput({ outputError: () => {} })
    .configureHelp({ helpWidth: 100, showGlobalOptions: false })
    .addHelpText('after', EXIT_CODES);
  const settle = (code: number): void => {
    exitCode = code;
  };
  for (const addCommand of [addPlan, addRehearse, addCheck, addStitch, addPublish, addScore, addCompletion])
    addCommand(program, settle);
  try {
    await program.parseAsync(args, { from: 'user' });
    return exitCode;
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    if (error.exitCode === 0) return EXIT.done;
    // Without any argument the help has been printed on standard error already.
    if (error.code === 'commander.help') return EXIT.badUsage;
    const message = `${plainWords(error.message)}${choicesMissed(program, args[0], error.message)}`;
    return printFailure(new UsageError(message), commonOptionsOf(args));
  }
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

/** "error: unknown option '--ot'\n(Did you mean --out?)" as one sentence in the project's manner. */
function plainWords(message: string): string {
  return message
    .replace(/^error: /, '')
    .replace(/\n\(Did you mean (.*)\?\)$/, '; did you mean $1?')
    .trimEnd();
}

/** What an option or argument would have taken that was given nothing; empty where anything can be. */
function choicesMissed(program: Command, name: string | undefined, message: string): string {
  const command = program.commands.find((candidate) => candidate.name() === name);
  const flags = /^error: option '(.*)' argument missing$/.exec(message)?.[1];
  const argument = /^error: missing required argument '(.*)'$/.exec(message)?.[1];
  const missed =
    command?.options.find((option) => option.flags === flags) ??
    command?.registeredArguments.find((candidate) => candidate.name() === argument);
  return missed?.argChoices ? `; expected one of ${missed.argChoices.join(', ')}` : '';
}

/** The common options, when the command line could not be parsed as a whole. */
function commonOptionsOf(args: readonly string[]): { readonly json: boolean; readonly color: boolean } {
  return { json: args.includes('--json'), color: !args.includes('--no-color') };
}
