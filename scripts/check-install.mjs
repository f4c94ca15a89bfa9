// Fails when the packages, packed as they are published and installed into an empty folder, do not work there: the command
// line makes a plate, a program imports the library, and the examples are checked against the types. What npm has in its
// cache is not asked for again; on a bare machine it comes from the registry.
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { packAll, root } from './pack.mjs';

const onWindows = process.platform === 'win32';
const scratch = mkdtempSync(join(tmpdir(), 'plenilune-install-'));
const home = join(scratch, 'an empty folder');

/** Prints what the library says of the plate that the command line has made. */
const PROGRAM = `import { readFileSync } from 'node:fs';
import { readSidecar } from '@plenilune/core';
const schema = JSON.parse(readFileSync(new URL(import.meta.resolve('@plenilune/core/plate.schema.json')), 'utf8'));
const { format, complete } = await readSidecar('plate');
console.log(JSON.stringify({ format, complete, asInSchema: schema.properties.format.const === format }));
`;

try {
  const packed = packAll(scratch);
  for (const { tarball, bytes } of packed) say(`${tarball.slice(scratch.length + 1)}: ${Math.round(bytes / 1000)} kB`);
  mkdirSync(home);
  // A manifest of its own: without one npm would look for a folder above.
  writeFileSync(join(home, 'package.json'), '{ "private": true, "type": "module" }\n');
  const startedMs = performance.now();
  const wanted = [...packed.map(({ tarball }) => tarball), nodeTypes()];
  run('npm', ['install', '--no-package-lock', '--no-audit', '--no-fund', '--prefer-offline', ...wanted]);
  say(`installed in ${((performance.now() - startedMs) / 1000).toFixed(1)} s, without a lockfile`);

  const version = run('npx', ['plenilune', '--version']).trim();
  if (version !== packed[0].version)
    throw new Error(`npx plenilune --version prints "${version}", not ${packed[0].version}`);
  // One pass that holds the whole disc: what all stages read of the package is read for it, too.
  const small = ['--disc', '200', '--frame', '220x220', '--passes', '1', '--frames-per-pass', '3', '--quiet'];
  plenilune(['rehearse', 'rehearsal', ...small]);
  plenilune(['stitch', 'rehearsal/capture', '--out', 'plate', '--quiet']);
  if (!(statSync(join(home, 'plate', 'plate.tif')).size > 0)) throw new Error('plate.tif is empty');
  say(`plenilune ${version} has made a plate of a rehearsal`);

  writeFileSync(join(home, 'program.mjs'), PROGRAM);
  const told = run(process.execPath, ['program.mjs']).trim();
  const expected = '{"format":"plenilune-plate","complete":true,"asInSchema":true}';
  if (told !== expected) throw new Error(`the library says ${told}, not ${expected}`);
  say('the library reads its sidecar, and has its schema');

  checkTypes();
} catch (error) {
  process.stderr.write(`${error.message}\n`);
  process.exitCode = 1;
} finally {
  rmSync(scratch, { recursive: true });
}

/** What whoever uses TypeScript on Node has installed, in the version that this repository has. */
function nodeTypes() {
  const { devDependencies } = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8'));
  return `@types/node@${devDependencies['@types/node']}`;
}

/**
 * Every example, and every declaration that it leads to. `check-packages.mjs` looks at the packages as a bundler finds them.
 */
function checkTypes() {
  cpSync(join(root, 'packages', 'core', 'examples'), join(home, 'examples'), { recursive: true });
  const compiler = join(root, 'node_modules', 'typescript', 'bin', 'tsc');
  const strictly = { noEmit: true, strict: true, target: 'es2022', lib: ['es2023'], types: ['node'] };
  const config = { compilerOptions: { ...strictly, module: 'node16' }, include: ['examples'] };
  writeFileSync(join(home, 'tsconfig.json'), JSON.stringify(config));
  run(process.execPath, [compiler]);
  say('the examples fit the types');
}

/** Runs the command line that was installed, without the second that npx takes. */
function plenilune(args) {
  return run(process.execPath, [join('node_modules', 'plenilune', 'bin', 'plenilune.js'), ...args]);
}

/** Runs a program in the folder; gives what it prints. */
function run(program, args) {
  // What npm says of this repository to its scripts is none of that folder's business.
  const env = Object.fromEntries(
    Object.entries(process.env).filter(([name]) => !/^npm_(package|lifecycle|config_local_prefix|command)/.test(name)),
  );
  const shell = onWindows && program !== process.execPath;
  const quoted = shell ? args.map((arg) => `"${arg}"`) : args;
  const { status, stdout, stderr, error } = spawnSync(program, quoted, { cwd: home, encoding: 'utf8', env, shell });
  if (error) throw error;
  if (status !== 0) throw new Error(`"${[program, ...args].join(' ')}" ends with ${status}:\n${stdout}${stderr}`);
  return stdout;
}

function say(text) {
  process.stdout.write(`${text}\n`);
}
