import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';

const bin = fileURLToPath(new URL('../bin/plenilune.js', import.meta.url));

/** What a run of the command left. */
export interface Run {
  readonly code: number | null;
  readonly endedBy: NodeJS.Signals | null;
  readonly stdout: string;
  readonly stderr: string;
}

/** A run that is under way. */
export interface Started {
  /** Ends once standard error holds the text. */
  said(text: string): Promise<void>;
  interrupt(): void;
  /** Closes standard output, as `head` does when it has enough. */
  stopReading(): void;
  readonly ended: Promise<Run>;
}

/** Starts the built command as a user does, without a terminal. */
export function start(args: readonly string[], env: NodeJS.ProcessEnv = {}): Started {
  const child = spawn(process.execPath, [bin, ...args], {
    env: { ...process.env, ...env },
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let stdout = '';
  let stderr = '';
  child.stdout.setEncoding('utf8').on('data', (part: string) => {
    stdout += part;
  });
  child.stderr.setEncoding('utf8').on('data', (part: string) => {
    stderr += part;
  });
  const ended = new Promise<Run>((resolve, reject) => {
    child.on('error', reject);
    child.on('close', (code, endedBy) => resolve({ code, endedBy, stdout, stderr }));
  });
  const said = (text: string): Promise<void> =>
    new Promise((resolve, reject) => {
      const look = (): void => {
        if (stderr.includes(text)) resolve();
      };
      child.stderr.on('data', look);
      child.on('close', () => reject(new Error(`the command ended without saying "${text}": ${stderr}`)));
      look();
    });
  return { said, interrupt: () => void child.kill('SIGINT'), stopReading: () => void child.stdout.destroy(), ended };
}

/** Runs the built command to its end. */
export function plenilune(args: readonly string[], env: NodeJS.ProcessEnv = {}): Promise<Run> {
  return start(args, env).ended;
}
