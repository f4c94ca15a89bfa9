import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';

const bin = fileURLToPath(new URL('../bin/plenilune.js', import.meta.url));

/** A run of the command on a terminal. */
export interface OnTerminal {
  /** Ends once the terminal has been sent what matches. */
  sent(pattern: RegExp): Promise<void>;
  /** Types Ctrl-C. */
  interrupt(): void;
  readonly ended: Promise<{ readonly code: number | null; readonly text: string }>;
}

/** Starts the built command on a pseudo-terminal of so many columns, by the `script` of util-linux. */
export function onTerminal(columns: number, args: readonly string[], env: NodeJS.ProcessEnv = {}): OnTerminal {
  const words = [process.execPath, bin, ...args].map((word) => `'${word}'`).join(' ');
  const child = spawn('script', ['-qefc', `stty cols ${columns} rows 24; exec ${words}`, '/dev/null'], {
    env: { ...process.env, TERM: 'xterm', ...env },
    stdio: ['pipe', 'pipe', 'inherit'],
  });
  let text = '';
  child.stdout.setEncoding('utf8').on('data', (part: string) => {
    text += part;
  });
  const ended = new Promise<{ code: number | null; text: string }>((resolve, reject) => {
    child.on('error', reject);
    child.on('close', (code) => resolve({ code, text }));
  });
  const sent = (pattern: RegExp): Promise<void> =>
    new Promise((resolve, reject) => {
      const look = (): void => {
        if (pattern.test(text)) resolve();
      };
      child.stdout.on('data', look);
      child.on('close', () => reject(new Error(`the command ended without sending ${pattern}: ${text}`)));
      look();
    });
  return { sent, interrupt: () => void child.stdin.write('\x03'), ended };
}

/** The lines that a terminal shows in the end, and every state that any of them has had; without the echo of Ctrl-C. */
export function shownOn(text: string): { readonly screen: readonly string[]; readonly states: readonly string[] } {
  const rows = text.replaceAll('\r\n', '\n').split('\n');
  const states = rows.map((row) => row.split('\r').map((state) => state.replaceAll(ESCAPES, '')));
  return { screen: states.map((row) => row.at(-1)!), states: states.flat() };
}

/** "Erase to the end of the line", marks of colour, and the echo. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: that is what they are.
const ESCAPES = /\x1b\[(?:K|\d+m)|\^C/g;
