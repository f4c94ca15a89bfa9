// Packs both packages as they are published.
import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { pnpmCommand } from './pnpm.mjs';

export const root = dirname(dirname(fileURLToPath(import.meta.url)));

/**
 * Writes a tarball of each package into a folder: what is written `workspace:*` in a manifest has its version there. Gives
 * `{ name, version, folder, tarball, bytes, files }` of each, `files` being the paths in it.
 */
export function packAll(into) {
  return ['core', 'cli'].map((folder) => {
    const pkgDir = join(root, 'packages', folder);
    const [program, args, options] = pnpmCommand(['pack', '--json', '--pack-destination', into]);
    const { status, stdout, stderr, error } = spawnSync(program, args, { ...options, cwd: pkgDir, encoding: 'utf8' });
    if (error) throw error;
    if (status !== 0) throw new Error(`packing ${pkgDir} failed:\n${stdout}${stderr}`);
    const packed = JSON.parse(stdout.slice(stdout.indexOf('{')));
    const tarball = join(into, basename(packed.filename));
    const bytes = readFileSync(tarball).length;
    const files = packed.files.map(({ path }) => path);
    return { name: packed.name, version: packed.version, folder: pkgDir, tarball, bytes, files };
  });
}
