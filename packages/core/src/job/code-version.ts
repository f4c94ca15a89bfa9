import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';

const PROGRAM = /(?<!\.d|\.test)\.[jt]s$/;

let known: string | undefined;

/**
 * SHA-256 of the library's own program files, compiled kernels and manifest. Part of every stage's key, so that what another version of
 * the code has computed is never taken for this one's.
 */
export function codeVersion(): string {
  known ??= digest();
  return known;
}

function digest(): string {
  const root = dirname(dirname(fileURLToPath(import.meta.url)));
  const programs = readdirSync(root, { recursive: true, encoding: 'utf8' }).filter((name) => PROGRAM.test(name));
  const beside = ['package.json', 'dist-kernels/kernels.wasm'].map((name) => join(dirname(root), name));
  const files = [...beside, ...programs.map((name) => join(root, name))];
  const hash = createHash('sha256');
  for (const [name, file] of files.map((file) => [relative(root, file).split(sep).join('/'), file] as const).sort()) {
    hash.update(`${name}\n`).update(readFileSync(file)).update('\n');
  }
  return hash.digest('hex');
}
