import { execFile } from 'node:child_process';
import { promisify } from 'node:util';
import { expect, test } from 'vitest';
import { plenilune } from '../../test/plenilune.js';

const run = promisify(execFile);

/** What bash itself would offer after these words. */
async function offered(...words: readonly string[]): Promise<string[]> {
  const { code, stdout } = await plenilune(['completion', 'bash']);
  expect(code).toBe(0);
  const line = words.map((word) => `'${word}'`).join(' ');
  const script = `${stdout}\nCOMP_WORDS=(plenilune ${line}); COMP_CWORD=${words.length}; _plenilune; printf '%s\\n' "\${COMPREPLY[@]}"`;
  const answer = await run('bash', ['-c', script]);
  return answer.stdout.split('\n').filter((one) => one !== '');
}

test('bash completes commands, then the options of the command, those too that the help only mentions', async () => {
  expect(await offered('st')).toEqual(['stitch']);
  expect(await offered('stitch', '--tiff')).toEqual(['--tiff-float']);
  expect(await offered('publish', '--wat')).toEqual(['--watermark']);
  expect(await offered('stitch', 'nig')).toEqual([]);
});

test.each(['zsh', 'fish'])('the script for %s names every command and option', async (shell) => {
  const { code, stdout } = await plenilune(['completion', shell]);
  expect(code).toBe(0);
  for (const word of ['plan', 'rehearse', 'check', 'stitch', 'publish', 'score', 'albedo', 'otio']) {
    expect(stdout).toMatch(new RegExp(`\\b${word}\\b`));
  }
});

test('another shell is bad usage that names those there are', async () => {
  const { code, stderr } = await plenilune(['completion', 'tcsh']);
  expect(code).toBe(2);
  expect(stderr).toContain('bash, zsh, fish');
});
