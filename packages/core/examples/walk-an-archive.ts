// Stitch every capture of an archive that has no plate yet; each failure is told with its code, and does not stop the rest.
// Arguments: [FOLDER of captures] [FOLDER of plates]. Ends with 1 when any capture failed. Ctrl-C stops; the next walk resumes.
import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { type ErrorCode, PleniluneError, sidecarAt, stitch } from '@plenilune/core';

const [archiveDir = 'archive', platesDir = 'plates'] = process.argv.slice(2);
const controller = new AbortController();
process.once('SIGINT', () => controller.abort());
/** What the captures that follow would fail of, too. */
const final: readonly ErrorCode[] = ['INTERRUPTED', 'OUT_OF_SPACE'];

const entries = await readdir(archiveDir, { withFileTypes: true });
const names = entries.filter((entry) => entry.isDirectory()).map(({ name }) => name);
for (const name of names.sort()) {
  const outDir = join(platesDir, name);
  if (await sidecarAt(outDir)) {
    console.log(`${name}: has a plate`);
    continue;
  }
  try {
    const { complete, gaps } = await stitch(join(archiveDir, name), { outDir, signal: controller.signal });
    console.log(`${name}: ${complete ? 'whole' : gaps.map(({ where }) => where).join('; ')}`);
  } catch (error) {
    if (!(error instanceof PleniluneError)) throw error;
    console.log(`${name}: ${error.code}: ${error.message}`);
    process.exitCode = 1;
    if (final.includes(error.code)) break;
  }
}
