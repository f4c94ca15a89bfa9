import { spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { InterruptedError } from '../job/errors.js';
import type { ClipAnswer, ClipRequest } from './clip-facts.js';

/** Longest silence after which the program that decodes counts as stuck. */
const SILENCE_MS = 10_000;

/**
 * Asks a program of its own about a clip, and hands on its answers. Resolves to what is wrong, in plain words, or to
 * undefined: whatever a damaged clip does to the decoder is data. Throws `InterruptedError` on abort.
 */
export async function runClipChild(
  request: ClipRequest,
  onAnswer: (answer: ClipAnswer) => void,
  signal?: AbortSignal,
): Promise<string | undefined> {
  const program = new URL(
    import.meta.url.endsWith('.ts') ? '../../dist/capture/clip-child.js' : './clip-child.js',
    import.meta.url,
  );
  const child = spawn(process.execPath, [fileURLToPath(program)], { stdio: ['pipe', 'pipe', 'ignore'] });
  let failure: string | undefined;
  let done = false;
  const stop = (): void => {
    child.kill('SIGKILL');
  };
  const onSilence = (): void => {
    failure = `the decoder has said nothing for ${SILENCE_MS / 1000} s`;
    stop();
  };
  let silence = setTimeout(onSilence, SILENCE_MS);
  signal?.addEventListener('abort', stop, { once: true });
  const ended = new Promise<string | undefined>((resolve) => {
    child.on('error', (error) => resolve(`the decoder does not start: ${error.message}`));
    child.on('close', (code, killedBy) => {
      resolve(code === 0 ? undefined : `the decoder has crashed (${killedBy ?? `exit code ${code}`})`);
    });
  });
  child.stdin.on('error', () => {});
  child.stdin.end(JSON.stringify(request));
  try {
    for await (const line of createInterface({ input: child.stdout })) {
      clearTimeout(silence);
      silence = setTimeout(onSilence, SILENCE_MS);
      const answer = JSON.parse(line) as ClipAnswer;
      if (answer.kind === 'failure') failure = answer.message;
      else if (answer.kind === 'done') done = true;
      else onAnswer(answer);
    }
    const crash = await ended;
    if (signal?.aborted) throw new InterruptedError();
    return failure ?? (done ? undefined : crash);
  } finally {
    clearTimeout(silence);
    signal?.removeEventListener('abort', stop);
  }
}
