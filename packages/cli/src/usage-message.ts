import { nearestName } from '@plenilune/core/errors';
import type { Command, CommanderError } from 'commander';

/** A command line that cannot be understood, as one sentence, with what was probably meant or what could be. */
export function usageMessage({ message }: CommanderError, command: Command): string {
  const said = message.replace(/^error: /, '').trimEnd();
  const [, kind, word] = /^unknown (option|command) '([^']*)'/.exec(said) ?? [];
  if (kind === undefined || word === undefined) return `${said}${choicesMissed(command, said)}`;
  const names = kind === 'command' ? command.commands.map((one) => one.name()) : optionsOf(command);
  const meant = nearestName(word.replace(/=.*/s, ''), names);
  return meant === undefined ? said : `${said}; did you mean ${meant}?`;
}

/** What an option or argument would have taken that was given nothing; empty where anything can be. */
function choicesMissed(command: Command, said: string): string {
  const flags = /^option '(.*)' argument missing$/.exec(said)?.[1];
  const argument = /^missing required argument '(.*)'$/.exec(said)?.[1];
  const missed =
    command.options.find((option) => option.flags === flags) ??
    command.registeredArguments.find((candidate) => candidate.name() === argument);
  return missed?.argChoices ? `; expected one of ${missed.argChoices.join(', ')}` : '';
}

/** Those too that the help tells of in a few lines only. */
function optionsOf({ options }: Command): string[] {
  return [...options.flatMap(({ long }) => long ?? []), '--help'];
}
