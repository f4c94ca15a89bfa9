import { nearestName } from '@plenilune/core/errors';
import type { Command, CommanderError } from 'commander';

/** A command line that cannot be understood, as one sentence, with the option or command that was probably meant. */
export function usageMessage({ message }: CommanderError, command: Command): string {
  const said = message.replace(/^error: /, '').trimEnd();
  const [, kind, word] = /^unknown (option|command) '([^']*)'/.exec(said) ?? [];
  if (kind === undefined || word === undefined) return said;
  const names = kind === 'command' ? command.commands.map((one) => one.name()) : optionsOf(command);
  const meant = nearestName(word.replace(/=.*/s, ''), names);
  return meant === undefined ? said : `${said}; did you mean ${meant}?`;
}

/** Those too that the help tells of in a few lines only. */
function optionsOf({ options }: Command): string[] {
  return [...options.flatMap(({ long }) => long ?? []), '--help'];
}
