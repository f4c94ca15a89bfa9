import { open, readdir, readFile, stat } from 'node:fs/promises';
import { join } from 'node:path';
import { canonicalJson } from './hash.js';

/** Name of the record in an artefact's folder; it is written last. */
export const RECORD_FILE = 'artefact.json';

/** What an artefact's folder says about itself. */
export interface ArtefactRecord {
  /** Format of this record. */
  readonly version: 1;
  readonly stage: string;
  /** The stage's inputs and settings. */
  readonly key: unknown;
  /** Fingerprint of the code that made it. */
  readonly code: string;
  readonly result: unknown;
  /** Every other file in the folder, sorted by name. */
  readonly files: readonly { readonly name: string; readonly bytes: number }[];
}

/** Records the files of a finished folder, and sees everything onto the disk. Returns what a reader will find. */
export async function writeRecord(
  folder: string,
  content: Pick<ArtefactRecord, 'stage' | 'key' | 'code' | 'result'>,
): Promise<ArtefactRecord> {
  const files = [];
  for (const name of (await readdir(folder)).sort()) {
    files.push({ name, bytes: (await stat(join(folder, name))).size });
    await sync(join(folder, name));
  }
  const text = canonicalJson({ version: 1, ...content, files });
  const record = await open(join(folder, RECORD_FILE), 'w');
  try {
    await record.writeFile(`${text}\n`);
    await record.sync();
  } finally {
    await record.close();
  }
  return JSON.parse(text) as ArtefactRecord;
}

/** The record of a folder, or undefined when it is missing, torn, of another key, or a file's size is not as recorded. */
export async function readRecord(
  folder: string,
  expected: Pick<ArtefactRecord, 'stage' | 'key' | 'code'>,
): Promise<ArtefactRecord | undefined> {
  try {
    const record = JSON.parse(await readFile(join(folder, RECORD_FILE), 'utf8')) as ArtefactRecord;
    const { version, stage, key, code, files } = record;
    const wanted = canonicalJson({ version: 1, ...expected });
    if (canonicalJson({ version, stage, key, code }) !== wanted) return undefined;
    for (const { name, bytes } of files) {
      if ((await stat(join(folder, name))).size !== bytes) return undefined;
    }
    return record;
  } catch {
    return undefined;
  }
}

async function sync(file: string): Promise<void> {
  const handle = await open(file, 'r+');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}
