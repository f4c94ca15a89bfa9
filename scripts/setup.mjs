// Makes a clone ready on a machine that has only Node and npm: installs what the lockfile says, builds, and then
// runs what follows `--run` with the installed programs. What is in line already is not done again.
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { PNPM, pnpmCommand } from './pnpm.mjs';

/** What sharp and vite can be loaded by. */
const OLDEST_NODE = [20, 10];
const OLDEST_NODE_FOR_TESTS = [20, 19];
const root = dirname(dirname(fileURLToPath(import.meta.url)));
const onWindows = process.platform === 'win32';

function main(args) {
  requireNode(OLDEST_NODE, 'Node');
  if (args[1] === 'vitest') requireNode(OLDEST_NODE_FOR_TESTS, 'for the tests, Node');
  install();
  build();
  if (args.length === 0) return;
  if (args[0] !== '--run' || args.length < 2) fail('usage: node scripts/setup.mjs [--run COMMAND [ARGUMENTS]]');
  process.exitCode = runInstalled(args[1], args.slice(2));
}

function requireNode([oldestMajor, oldestMinor], what) {
  const [major, minor] = process.versions.node.split('.').map(Number);
  if (major > oldestMajor || (major === oldestMajor && minor >= oldestMinor)) return;
  fail(`this is Node ${process.versions.node}; ${what} ${oldestMajor}.${oldestMinor} or newer is needed`);
}

/** Installs with the pinned pnpm. */
function install() {
  const stamp = join(root, 'node_modules', '.setup-stamp');
  const wanted = installHash();
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === wanted) return;
  say(`installing with ${PNPM}`);
  const status = run(...pnpmCommand(['install', '--frozen-lockfile']));
  if (status !== 0) fail('installing failed; the lines above say why', status);
  writeFileSync(stamp, wanted);
}

/** Everything that decides what an install gives. */
function installHash() {
  const hash = createHash('sha256').update(`${PNPM} ${process.platform} ${process.arch} ${root}\n`);
  const manifests = ['package.json', 'packages/core/package.json', 'packages/cli/package.json'];
  for (const file of ['pnpm-lock.yaml', 'pnpm-workspace.yaml', ...manifests]) {
    hash.update(readFileSync(join(root, file))).update('\n');
  }
  return hash.digest('hex');
}

/** Compiles what has changed since the last time, the kernels first: the library loads them. */
function build() {
  if (run(process.execPath, [join(root, 'scripts', 'kernels.mjs')]) !== 0) fail('compiling the kernels failed');
  const compiler = join(root, 'node_modules', 'typescript', 'bin', 'tsc');
  const status = run(process.execPath, [compiler, '-b']);
  if (status !== 0) fail('building failed; the lines above say why', status);
}

function runInstalled(command, args) {
  const program = join(root, 'node_modules', '.bin', onWindows ? `${command}.cmd` : command);
  if (!existsSync(program)) fail(`no program "${command}" is installed here`);
  if (!onWindows) return run(program, args);
  return run(
    `"${program}"`,
    args.map((arg) => `"${arg}"`),
    { shell: true },
  );
}

function run(program, args, options = {}) {
  const { status, error, signal } = spawnSync(program, args, { cwd: root, stdio: 'inherit', ...options });
  if (error) fail(`${program} could not be started: ${error.message}`);
  if (signal) fail(`${program} was ended by ${signal}`, 130);
  return status;
}

function say(text) {
  process.stderr.write(`setup: ${text}\n`);
}

function fail(text, status = 1) {
  say(text);
  process.exit(status);
}

main(process.argv.slice(2));
