// Packs both packages as they are published.
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { pnpmCommand } from './pnpm.mjs';

export const root = dirname(dirname(fileURLToPath(import.meta.url)));

/**
 * Writes a tarball of each package into a folder, core first: what is written `workspace:*` in a manifest has its version
 * there. Gives `{ name, version, folder, tarball, bytes, files }` of each, `files` being the paths in it.
 */
export function packAll(into) {
  const folders = ['core', 'cli'].map((folder) => join(root, 'packages', folder));
  const names = folders.map((folder) => JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8')).name);
  const wanted = names.flatMap((name) => ['--filter', name]);
  const [program, args, options] = pnpmCommand([...wanted, 'pack', '--json', '--pack-destination', into]);
  const { status, stdout, stderr, error } = spawnSync(program, args, { ...options, cwd: root, encoding: 'utf8' });
  if (error) throw error;
  if (status !== 0) throw new Error(`packing ${names.join(' and ')} failed:\n${stdout}${stderr}`);
  const all = JSON.parse(stdout.slice(stdout.indexOf('[\n')));
  return names.map((name, i) => {
    const { version, filename, files } = all.find((packed) => packed.name === name);
    const tarball = join(into, basename(filename));
    const bytes = readFileSync(tarball).length;
    return { name, version, folder: folders[i], tarball, bytes, files: files.map(({ path }) => path) };
  });
}
