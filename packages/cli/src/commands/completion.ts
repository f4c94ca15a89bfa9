import { UsageError } from '@plenilune/core/errors';
import { Argument, type Command } from 'commander';
import { EXIT } from '../exit-code.js';

const SHELLS = ['bash', 'zsh', 'fish'] as const;

const EXAMPLES = `
Examples:
  source <(plenilune completion bash)                     # in ~/.bashrc; zsh likewise
  plenilune completion fish | source                      # in ~/.config/fish/config.fish`;

/** `completion`: prints a script that completes commands and options in a shell. */
export function addCompletion(program: Command, settle: (exitCode: number) => void): void {
  program
    .command('completion')
    .summary('print a script that completes commands and options')
    .description('Prints a script that completes commands and options, for a shell to read.')
    .addArgument(new Argument('<shell>', 'whose script').choices(SHELLS))
    .addHelpText('after', EXAMPLES)
    .action((shell: (typeof SHELLS)[number]) => {
      const words = wordsOf(program);
      process.stdout.write(
        shell === 'bash' ? bashScript(words) : shell === 'zsh' ? zshScript(words) : fishScript(words),
      );
      settle(EXIT.done);
    });
}

/** What can follow each command. */
interface CommandWords {
  readonly name: string;
  readonly about: string;
  /** Long options, those too that the help tells of in a few lines only. */
  readonly options: readonly string[];
}

function wordsOf(program: Command): CommandWords[] {
  return program.commands.map((command) => ({
    name: plain(command.name()),
    about: command.summary(),
    options: [...command.options.flatMap(({ long }) => (long ? [plain(long)] : [])), '--help'],
  }));
}

/** Names go into scripts, so they must be nothing but names. */
function plain(word: string): string {
  if (/^[a-z-]+$/.test(word)) return word;
  throw new UsageError(`"${word}" is no name that a shell can complete`);
}

/** Commands first, then options of the command; anything else is a file. */
function bashScript(words: readonly CommandWords[]): string {
  const cases = words.map(({ name, options }) => `    ${name}) words="${options.join(' ')}" ;;`);
  return `_plenilune() {
  local current="\${COMP_WORDS[COMP_CWORD]}" words=""
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "${words.map(({ name }) => name).join(' ')} --help --version" -- "$current"))
    return
  fi
  case "\${COMP_WORDS[1]}" in
${cases.join('\n')}
  esac
  COMPREPLY=()
  case "$current" in -*) COMPREPLY=($(compgen -W "$words" -- "$current")) ;; esac
}
complete -o default -F _plenilune plenilune
`;
}

/** Read by `source`, or from a folder of functions as the file `_plenilune`: then it is called as soon as it is loaded. */
function zshScript(words: readonly CommandWords[]): string {
  const commands = words.map(({ name, about }) => `'${name}:${quoted(about)}'`).join(' ');
  const cases = words.map(({ name, options }) => `    ${name}) compadd -- ${options.join(' ')} ;;`);
  return `#compdef plenilune
_plenilune() {
  if (( CURRENT == 2 )); then
    if [[ $words[CURRENT] == -* ]]; then compadd -- --help --version; return; fi
    local -a commands=(${commands})
    _describe command commands
    return
  fi
  if [[ $words[CURRENT] != -* ]]; then _files; return; fi
  case $words[2] in
${cases.join('\n')}
  esac
}
if [[ $funcstack[1] == _plenilune ]]; then
  _plenilune "$@"
else
  (( $+functions[compdef] )) || { autoload -Uz compinit && compinit; }
  compdef _plenilune plenilune
fi
`;
}

function fishScript(words: readonly CommandWords[]): string {
  const names = words.map(({ name }) => name).join(' ');
  const none = `not __fish_seen_subcommand_from ${names}`;
  const own = ['help', 'version'].map((option) => `complete -c plenilune -n "${none}" -l ${option}`);
  const lines = words.flatMap(({ name, about, options }) => [
    `complete -c plenilune -n "${none}" -f -a ${name} -d '${quoted(about)}'`,
    ...options.map((option) => `complete -c plenilune -n "__fish_seen_subcommand_from ${name}" -l ${option.slice(2)}`),
  ]);
  return `${[...own, ...lines].join('\n')}\n`;
}

/** Text within single quotes of zsh and fish. */
function quoted(text: string): string {
  return text.replace(/['\\:]/g, ' ');
}
