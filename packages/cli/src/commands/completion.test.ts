import { execFile } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { delimiter, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { afterAll, describe, expect, test } from 'vitest';
import { plenilune } from '../../test/plenilune.js';

const run = promisify(execFile);
const base = await mkdtemp(join(tmpdir(), 'completion test '));
afterAll(() => rm(base, { recursive: true }));
await writeFile(join(base, 'night'), '');

const scripts = new Map<string, string>();

async function scriptFor(shell: string): Promise<string> {
  const known = scripts.get(shell);
  if (known !== undefined) return known;
  const { code, stdout, stderr } = await plenilune(['completion', shell]);
  expect({ code, stderr }).toEqual({ code: 0, stderr: '' });
  scripts.set(shell, stdout);
  return stdout;
}

const lines = (text: string): string[] => text.split('\n').filter((line) => line !== '');

/** What a shell itself offers for the last of some words. */
const OFFERED: Readonly<Record<string, (words: readonly string[]) => Promise<string[]>>> = {
  bash: async (words) => {
    const line = words.map((word) => `'${word}'`).join(' ');
    const ask = `COMP_WORDS=(plenilune ${line}); COMP_CWORD=${words.length}; _plenilune; printf '%s\\n' "\${COMPREPLY[@]}"`;
    return lines((await run('bash', ['-c', `${await scriptFor('bash')}\n${ask}`], { cwd: base })).stdout);
  },
  zsh: async (words) => zshOffers(`source <(print -r -- ${quoted(await scriptFor('zsh'))})`, words),
  fish: async (words) => {
    const ask = `complete -C ${quoted(['plenilune', ...words].join(' '))}`;
    const env = { ...process.env, HOME: base };
    const { stdout, stderr } = await run('fish', ['--private', '-c', `${await scriptFor('fish')}\n${ask}`], {
      cwd: base,
      env,
    });
    expect(stderr).toBe('');
    return lines(stdout).map((line) => line.split('\t')[0]!);
  },
};

let times = 0;
async function zshOffers(loading: string, words: readonly string[]): Promise<string[]> {
  const folder = await mkdtemp(join(base, `zsh ${times++} `));
  await writeFile(join(folder, 'night'), '');
  const driver = fileURLToPath(new URL('../../test/zsh-offers.zsh', import.meta.url));
  const env = { ...process.env, HOME: base, ZDOTDIR: base, TERM: 'xterm' };
  const { stdout, stderr } = await run('zsh', ['-f', driver, loading, folder, ['plenilune', ...words].join(' ')], {
    env,
  });
  expect(stderr).toBe('');
  return lines(stdout);
}

const quoted = (text: string): string => `'${text.replaceAll("'", `'\\''`)}'`;

const isInstalled = (shell: string): boolean =>
  (process.env.PATH ?? '').split(delimiter).some((folder) => existsSync(join(folder, shell)));

describe.each(Object.entries(OFFERED))('in %s', (shell, offered) => {
  // The title tells which shell is missing when it is passed over.
  describe.skipIf(!isInstalled(shell))(`(passed over where ${shell} is not installed)`, () => {
    test('commands are completed', async () => {
      expect(await offered(['st'])).toEqual(['stitch']);
      expect((await offered([''])).sort()).toEqual(
        expect.arrayContaining(['check', 'completion', 'plan', 'publish', 'rehearse', 'score', 'stitch']),
      );
      expect((await offered(['--'])).sort()).toEqual(['--help', '--version']);
    });

    test('then the options of the command, those too that the help only mentions', async () => {
      expect(await offered(['stitch', '--tiff'])).toEqual(['--tiff-float']);
      expect(await offered(['publish', '--wat'])).toEqual(['--watermark']);
      expect(await offered(['stitch', 'night', '--al'])).toEqual(['--albedo']);
      expect(await offered(['stitch', '--wat'])).toEqual([]);
    });

    test('anything else is a file', async () => {
      // bash falls back on files by itself.
      expect(await offered(['stitch', 'nig'])).toEqual(shell === 'bash' ? [] : ['night']);
    });
  });
});

describe.skipIf(!isInstalled('zsh'))('the script for zsh (passed over where zsh is not installed)', () => {
  test('works as a file in a folder of functions, too', async () => {
    const functions = await mkdtemp(join(base, 'functions '));
    await writeFile(join(functions, '_plenilune'), await scriptFor('zsh'));
    const loading = `fpath=(${quoted(functions)} $fpath); autoload -Uz compinit; compinit -u`;
    expect(await zshOffers(loading, ['stitch', '--tiff'])).toEqual(['--tiff-float']);
  });
});

test.each(['zsh', 'fish'])('the script for %s names every command and option', async (shell) => {
  const script = await scriptFor(shell);
  for (const word of ['plan', 'rehearse', 'check', 'stitch', 'publish', 'score', 'albedo', 'otio']) {
    expect(script).toMatch(new RegExp(`\\b${word}\\b`));
  }
});

test('another shell is bad usage that names those there are', async () => {
  const { code, stderr } = await plenilune(['completion', 'tcsh']);
  expect(code).toBe(2);
  expect(stderr).toContain('bash, zsh, fish');
});
