import type { Command } from 'commander';

/** Leaves options out of the list of a command's help, for a text below to tell of in a few lines; they work as ever. */
export function tellBelow(command: Command, longNames: readonly string[]): Command {
  for (const name of longNames) {
    const option = command.options.find(({ long }) => long === name);
    if (!option) throw new Error(`${command.name()} has no option ${name}`);
    option.hideHelp();
  }
  return command;
}
