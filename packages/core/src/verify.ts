import { stat } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import { mapBounded } from './capture/bounded.js';
import { hashIfFile, isFile } from './capture/hash.js';
import { SETTINGS_FORMATS } from './capture/settings-formats.js';
import { InputError } from './job/errors.js';
import type { ProgressListener } from './job/progress.js';
import { tellStage } from './job/tell-stage.js';
import type { HashedFile } from './plate/hashed-file.js';
import { readPlateRecord } from './publish/plate-record.js';

/** Settings of {@link verifyPlate}. */
export interface VerifyOptions {
  /** The capture that the plate was made of. Default: only the files beside the sidecar are looked at. */
  readonly captureDir?: string;
  readonly signal?: AbortSignal;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
}

/** A file that is not as the sidecar has it. */
export interface PlateDifference extends HashedFile {
  readonly role: 'output' | 'input';
  readonly state: 'changed' | 'missing';
  /** What its bytes give now; null where there is none. */
  readonly foundSha256: string | null;
}

/** What {@link verifyPlate} has found. */
export interface VerifyResult {
  /** Absolute path. */
  readonly sidecarPath: string;
  /** Files that were hashed or looked for. */
  readonly checked: number;
  /** Inputs that the sidecar names and nobody looked at, since no capture was given. */
  readonly notChecked: number;
  readonly differences: readonly PlateDifference[];
}

/**
 * Compares the files that a plate's sidecar names with their hashes: the plate and all that lies beside it, and the inputs in a capture.
 *
 * @param path the sidecar, or the folder that it is in
 * @throws InputError SIDECAR_UNREADABLE; CAPTURE_UNREADABLE when the capture is no folder
 * @throws InterruptedError
 */
export async function verifyPlate(path: string, options: VerifyOptions = {}): Promise<VerifyResult> {
  const { captureDir, signal, onProgress = () => {} } = options;
  const record = await readPlateRecord(resolve(path));
  const outputs = [record.plate, record.preview, ...record.beside].map(
    (file): Wanted => ({ ...wanted(file), role: 'output' }),
  );
  const inputs = distinct([...record.frames, ...record.others]).map((file): Wanted => ({ ...file, role: 'input' }));
  const root = captureDir === undefined ? undefined : await requireFolder(resolve(captureDir));
  const all = root === undefined ? outputs : [...outputs, ...inputs];
  const found = await tellStage(onProgress, { stage: 'verify', total: all.length, unit: 'files' }, (step) => {
    let done = 0;
    const compare = async (file: Wanted) => {
      const path = file.role === 'output' ? join(record.folder, file.file) : await pathInside(root!, file.file);
      const foundSha256 = path === undefined ? null : await hashIfFile(path, signal);
      step(++done);
      return { ...file, foundSha256 };
    };
    return mapBounded(all, OPEN_FILES, compare, signal);
  });
  return {
    sidecarPath: record.sidecarPath,
    checked: all.length,
    notChecked: outputs.length + inputs.length - all.length,
    differences: found
      .filter(({ sha256, foundSha256 }) => sha256 !== foundSha256)
      .map((file) => ({ ...file, state: file.foundSha256 === null ? 'missing' : 'changed' })),
  };
}

/** The sidecar that a path stands for: itself, or `plate.json` in a folder; undefined for anything else. */
export async function sidecarAt(path: string): Promise<string | undefined> {
  const found = await stat(path).catch(() => undefined);
  if (found?.isFile() && /\.json$/i.test(path)) return path;
  if (!found?.isDirectory()) return undefined;
  const inside = join(path, 'plate.json');
  return (await isFile(inside)) ? inside : undefined;
}

const OPEN_FILES = 2;

type Wanted = HashedFile & { readonly role: 'output' | 'input' };

/** The pictures of a clip share its file and hash: each file once. */
function distinct(files: readonly HashedFile[]): HashedFile[] {
  const seen = new Map<string, HashedFile>();
  for (const file of files) {
    const key = `${file.file.replace(PICTURE, '')}\n${file.sha256}`;
    if (!seen.has(key)) seen.set(key, wanted(file));
  }
  return [...seen.values()];
}

/** What is behind a clip's name: the number of a picture in it. */
const PICTURE = /#\d+$/;

function wanted({ file, sha256 }: HashedFile): HashedFile {
  return { file, sha256 };
}

/** Where a file of a capture is; calibration frames may lie beside it. Nothing else is looked at. */
async function pathInside(root: string, file: string): Promise<string | undefined> {
  const verdict = SETTINGS_FORMATS['path-near']!(file);
  if (!('value' in verdict)) return undefined;
  const whole = join(root, verdict.value);
  return (await isFile(whole)) ? whole : whole.replace(PICTURE, '');
}

async function requireFolder(path: string): Promise<string> {
  const found = await stat(path).catch(() => undefined);
  if (found?.isDirectory()) return path;
  throw new InputError('CAPTURE_UNREADABLE', `${path} is no folder; give the capture that the plate was made of.`);
}
