// Fails when a package would not work for those who install it, or holds what they have no use for. Both are packed as they
// are published; every finding of publint and of attw counts.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, sep } from 'node:path';
import { publint } from 'publint';
import { formatMessage } from 'publint/utils';
import { packAll, root } from './pack.mjs';

const styles = readdirSync(join(root, 'packages', 'core', 'page')).filter((name) => name.endsWith('.css'));
/** Files, and folders with all that is in them, that a package has to have. */
const WHOLE = {
  '@plenilune/core': [
    ...['LICENSE', 'README.md', 'data', 'schema', 'examples', 'dist-kernels/kernels.wasm', 'dist-page/page.js'],
    ...['dist/index.js', 'dist/index.d.ts', 'dist/worker.js', 'dist/capture/clip-child.js', 'src/index.ts'],
    ...styles.map((name) => `page/${name}`),
  ],
  plenilune: ['LICENSE', 'README.md', 'bin', 'dist/main.js'],
};
/** What nobody who installs a package has a use for. */
const NEEDLESS = /\.test\.|(^|\/)tests?\/|\.tsbuildinfo$|(^|\/)tsconfig/;

async function main() {
  const folder = mkdtempSync(join(tmpdir(), 'plenilune-packages-'));
  try {
    for (const packed of packAll(folder)) {
      const faults = [...contents(packed), ...(await ofPublint(packed)), ...ofAttw(packed)];
      for (const fault of faults) process.stderr.write(`${packed.name}: ${fault}\n`);
      if (faults.length > 0) process.exitCode = 1;
      else
        process.stdout.write(`${packed.name}: fit to publish, ${packed.files.length} files, ${inKb(packed.bytes)}\n`);
    }
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function contents({ name, folder, files }) {
  const packed = new Set(files);
  const wanted = WHOLE[name].flatMap((path) => filesIn(folder, path));
  return [
    ...wanted.filter((path) => !packed.has(path)).map((path) => `${path} is missing`),
    ...files.filter((path) => NEEDLESS.test(path)).map((path) => `${path} is of no use to those who install it`),
    ...files.filter((path) => isStale(folder, path)).map((path) => `${path} has no source; remove dist and build anew`),
    ...(sameText(join(root, 'LICENSE'), join(folder, 'LICENSE')) ? [] : ['its LICENSE is not that of the repository']),
  ];
}

/** A file, or all files in a folder, relative to the package, as paths in a tarball are written. */
function filesIn(folder, path) {
  const isFolder = (inside) => statSync(join(folder, inside), { throwIfNoEntry: false })?.isDirectory() ?? false;
  if (!isFolder(path)) return [path];
  const inside = readdirSync(join(folder, path), { recursive: true }).map(
    (name) => `${path}/${name.replaceAll(sep, '/')}`,
  );
  return inside.filter((name) => !isFolder(name));
}

/** What the compiler made of a source that is gone stays where it is. */
function isStale(folder, path) {
  const compiled = /^dist\/(.*?)(\.d)?\.[jt]s(\.map)?$/.exec(path);
  return compiled !== null && !existsSync(join(folder, 'src', `${compiled[1]}.ts`));
}

function sameText(one, other) {
  return readFileSync(one, 'utf8') === readFileSync(other, 'utf8');
}

async function ofPublint({ tarball }) {
  const { buffer, byteOffset, byteLength } = readFileSync(tarball);
  const pack = { tarball: buffer.slice(byteOffset, byteOffset + byteLength) };
  const { messages, pkg } = await publint({ strict: true, pack });
  return messages.map((message) => `${message.type}: ${formatMessage(message, pkg)}`);
}

/** Do the types say what is there, for every way in which an ES module is found? */
function ofAttw({ tarball }) {
  const program = join(root, 'node_modules', '@arethetypeswrong', 'cli', 'dist', 'index.js');
  const args = [program, tarball, '--profile', 'esm-only', '--no-definitely-typed', '--format', 'ascii', '--no-emoji'];
  const { status, stdout, stderr, error } = spawnSync(process.execPath, args, { encoding: 'utf8' });
  if (error) throw error;
  return status === 0 ? [] : [`attw ends with ${status}:\n${stdout}${stderr}`];
}

function inKb(bytes) {
  return `${Math.round(bytes / 1000)} kB`;
}

await main();
