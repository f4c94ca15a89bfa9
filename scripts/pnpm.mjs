// The package manager in a pinned version, which npm fetches; nothing has to be installed globally.

export const PNPM = 'pnpm@10.34.8';

/** What runs it, as the arguments of `spawnSync`. */
export function pnpmCommand(args) {
  // CI=true: pnpm asks no questions.
  const options = { env: { ...process.env, CI: 'true' } };
  const npmCli = process.env.npm_execpath;
  return npmCli && /npm-cli\.c?js$/.test(npmCli)
    ? [process.execPath, [npmCli, 'exec', '--yes', PNPM, '--', ...args], options]
    : ['npx', ['--yes', PNPM, ...args], { ...options, shell: process.platform === 'win32' }];
}
