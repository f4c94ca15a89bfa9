import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';

/** What exiftool reads of every TIFF and JPEG in a folder, by group and name, with its complaints. */
export function exif(folder: string): Record<string, unknown>[] {
  const args = [
    '-q',
    '.',
    '-ext',
    'tif',
    '-ext',
    'jpg',
    '-j',
    '-G1',
    '-struct',
    '-validate',
    '-warning',
    '-error',
    '-all',
  ];
  return JSON.parse(execFileSync('exiftool', args, { cwd: folder, encoding: 'utf8' })) as Record<string, unknown>[];
}

/** SHA-256 of every file in a folder, by name. */
export async function tree(folder: string): Promise<Record<string, string>> {
  const entries = (await readdir(folder)).sort().map(async (name) => {
    const bytes = await readFile(join(folder, name));
    return [name, createHash('sha256').update(bytes).digest('hex')] as const;
  });
  return Object.fromEntries(await Promise.all(entries));
}
