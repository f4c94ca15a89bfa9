// Fails on source files that are too long to be read in one go.
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, extname, join, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';

const MOST_LINES = 300;
const SOURCES = new Set(['.ts', '.mjs', '.js', '.py', '.sh', '.css']);
const SKIPPED = new Set(['node_modules', 'dist', 'out', 'coverage', '.git']);
/** Path from the root -> why it may be longer. */
const LONGER = new Map([]);

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const faults = [];
let count = 0;
for (const file of sources(root)) {
  const path = relative(root, file).split(sep).join('/');
  const lines = readFileSync(file, 'utf8').split('\n').length - 1;
  count++;
  if (lines > MOST_LINES && !LONGER.has(path)) faults.push(`${path}: ${lines} lines; at most ${MOST_LINES}`);
  if (lines <= MOST_LINES && LONGER.has(path)) faults.push(`${path}: needs no exception any more`);
  LONGER.delete(path);
}
for (const path of LONGER.keys()) faults.push(`${path}: has an exception and does not exist`);
if (count === 0) faults.push('no source files found');
if (faults.length > 0) {
  process.stderr.write(`${faults.join('\n')}\n`);
  process.exit(1);
}
process.stdout.write(`${count} source files, none over ${MOST_LINES} lines without a reason\n`);

function* sources(folder) {
  for (const entry of readdirSync(folder, { withFileTypes: true })) {
    const path = join(folder, entry.name);
    if (entry.isDirectory() && !SKIPPED.has(entry.name)) yield* sources(path);
    else if (entry.isFile() && SOURCES.has(extname(entry.name))) yield path;
  }
}
