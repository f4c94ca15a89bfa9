// From a fresh clone to a finished plate: sets up, makes a rehearsal when there is none, stitches it, says where it is.
import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const rehearsal = join('out', 'rehearsal');
const plate = join('out', 'first-plate');
const INCOMPLETE = 4;

run([join('scripts', 'setup.mjs')]);
// A rehearsal appears under its name only once it is whole.
if (!existsSync(join(root, rehearsal))) plenilune('rehearse', rehearsal);
const status = plenilune('stitch', join(rehearsal, 'capture'), '--out', plate, '--force');
process.stderr.write(
  `\nThe plate: ${join(plate, 'plate.tif')}\nA small view of it: ${join(plate, 'preview.jpg')}\nIts report: ${join(plate, 'report.html')}\n`,
);
process.exitCode = status;

function plenilune(...args) {
  process.stderr.write(`\n$ npx plenilune ${args.join(' ')}\n`);
  return run([join('packages', 'cli', 'bin', 'plenilune.js'), ...args]);
}

/** Runs a program of ours; ends with its exit code when it fails. An incomplete plate is a plate. */
function run(args) {
  const { status, error } = spawnSync(process.execPath, args, { cwd: root, stdio: 'inherit' });
  if (error) throw error;
  if (status !== 0 && status !== INCOMPLETE) process.exit(status ?? 130);
  return status;
}
