import { rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { type ArtefactRecord, RECORD_FILE, readRecord, writeRecord } from './artefact.js';
import { codeVersion } from './code-version.js';
import type { StageContext } from './context.js';
import { InternalError, InterruptedError, throwIfAborted } from './errors.js';
import { canonicalJson, hashOf } from './hash.js';
import type { ProgressUnit } from './progress.js';
import { checkSpace, explainNoMemory, explainNoSpace } from './resources.js';
import { createUnfinishedFolder, removeUnfinishedFolder } from './work-folder.js';

/** One step of a job: a function of its key that leaves an artefact in the work folder. */
export interface Stage<T> {
  /** Lower-case words with hyphens; begins the name of the artefact's folder. */
  readonly name: string;
  /** What it works on, where a stage runs several times: the name of a pass. Told to the caller, no part of the key. */
  readonly subject?: string;
  /**
   * Everything that the result depends on: inputs and settings, as plain JSON. The number of workers and where the work
   * folder lies are no part of it.
   */
  readonly key: unknown;
  /** How much `run` will report as done. Default: 1. */
  readonly total?: number;
  /** What that counts. Default: `steps`. */
  readonly unit?: ProgressUnit;
  /** Disk space that the artefact will take, roughly; checked before starting. Default: not checked. */
  readonly needBytes?: number;
  /** Does the work. The result is plain JSON; pixels go to files named by {@link StageHandle.path}. */
  readonly run: (handle: StageHandle) => Promise<T>;
}

/** What a running stage is given. */
export interface StageHandle {
  /** Absolute path for a file of the artefact; a plain file name is expected. Valid only while the stage runs. */
  path(name: string): string;
  /** Reports how much of the stage's total is done. */
  step(done: number): void;
}

/** What a finished stage has left. */
export interface Artefact<T> {
  readonly result: T;
  /** Absolute path of the artefact's folder. */
  readonly folder: string;
  /** Whether an earlier run had left it. */
  readonly resumed: boolean;
  /** Absolute path of a file of the artefact. */
  path(name: string): string;
}

/**
 * Runs a stage, or loads the artefact that an earlier run of the same code with the same key has left in
 * `workDir/<name>-<16 hexadecimal digits>/`. Work is done in a temporary folder that is renamed once complete, so
 * that half-done work never looks finished; when the stage fails or is cancelled the temporary folder is removed.
 *
 * @throws InterruptedError before the stage, or from it, once the signal has fired
 * @throws ResourceError OUT_OF_SPACE or OUT_OF_MEMORY
 * @throws InternalError when key or result are not plain JSON
 */
export async function runStage<T>(context: StageContext, stage: Stage<T>): Promise<Artefact<T>> {
  const { workDir, signal, onProgress } = context;
  const { name, total = 1, unit = 'steps' } = stage;
  const told = toldAs(stage);
  throwIfAborted(signal);
  if (!/^[a-z0-9]+(-[a-z0-9]+)*$/.test(name)) throw new InternalError(`"${name}" is no name for a stage`);
  const identity = { stage: name, key: JSON.parse(canonicalJson(stage.key)) as unknown, code: codeVersion() };
  const folder = join(workDir, `${name}-${hashOf(identity).slice(0, 16)}`);
  const startedMs = performance.now();
  onProgress({ kind: 'stage-start', ...told, total, unit });
  const found = await readRecord(folder, identity);
  const record = found ?? (await makeArtefact(context, stage, identity, folder));
  const resumed = found !== undefined;
  onProgress({ kind: 'stage-end', ...told, elapsedMs: performance.now() - startedMs, resumed });
  return { result: record.result as T, folder, resumed, path: (file) => fileIn(folder, file) };
}

function toldAs({ name, subject }: { readonly name: string; readonly subject?: string }) {
  return subject === undefined ? { stage: name } : { stage: name, subject };
}

async function makeArtefact<T>(
  context: StageContext,
  stage: Stage<T>,
  identity: Pick<ArtefactRecord, 'stage' | 'key' | 'code'>,
  folder: string,
): Promise<ArtefactRecord> {
  const { workDir, signal, onProgress } = context;
  const { name, total = 1, needBytes } = stage;
  const temporary = await createUnfinishedFolder(workDir, name);
  try {
    if (needBytes !== undefined) await checkSpace(workDir, needBytes, `the stage "${name}"`);
    const result = await stage.run({
      path: (file) => fileIn(temporary, file),
      step: (done) => onProgress({ kind: 'stage-step', ...toldAs(stage), done, total }),
    });
    const record = await writeRecord(temporary, { ...identity, result: result ?? null });
    return await moveIntoPlace(temporary, folder, identity, record);
  } catch (error) {
    if (signal?.aborted && error instanceof Error && error.name === 'AbortError') throw new InterruptedError();
    throw explainNoMemory(error) ?? (await explainNoSpace(error, temporary, needBytes, `the stage "${name}"`));
  } finally {
    await removeUnfinishedFolder(temporary);
  }
}

/** Renames; when the place is taken, by a torn artefact or by another run that was quicker, a whole one there wins. */
async function moveIntoPlace(
  temporary: string,
  folder: string,
  identity: Pick<ArtefactRecord, 'stage' | 'key' | 'code'>,
  record: ArtefactRecord,
): Promise<ArtefactRecord> {
  try {
    await rename(temporary, folder);
  } catch {
    const present = await readRecord(folder, identity);
    if (present) return present;
    await rm(folder, { recursive: true, force: true });
    await rename(temporary, folder);
  }
  return record;
}

function fileIn(folder: string, name: string): string {
  if (!/^[\w-][\w.-]*$/.test(name) || name === RECORD_FILE) {
    throw new InternalError(`"${name}" is no name for an artefact's file; expected a plain file name`);
  }
  return join(folder, name);
}
