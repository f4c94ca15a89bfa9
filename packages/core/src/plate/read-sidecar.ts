import { readFile, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { InputError } from '../job/errors.js';
import type { HashedFile } from './hashed-file.js';
import { ENCODING_NAMES, MASTER_PRIMARIES } from './master-colour.js';
import { SIDECAR_VERSION, type Sidecar } from './sidecar.js';

/** A sidecar, and where it was found. */
export interface FoundSidecar {
  readonly sidecar: Sidecar;
  /** As given: of the folder and of the sidecar in it. */
  readonly folder: string;
  readonly sidecarPath: string;
}

/**
 * Reads the sidecar of a plate: which files and frames it was made of, where they lie on it, and what was left out. Its
 * layout is that of `@plenilune/core/plate.schema.json`. Files named in it stay inside its folder and carry hashes; what
 * other fields hold is taken as it is.
 *
 * @param path the folder that `stitch` wrote, the plate in it, or the sidecar itself
 * @throws InputError SIDECAR_UNREADABLE when `path` is missing, there is no sidecar, it is not one of ours, or it is of
 *   another plate
 */
export async function readSidecar(path: string): Promise<Sidecar> {
  return (await findSidecar(path)).sidecar;
}

/** {@link readSidecar}, and where it was found. */
export async function findSidecar(path: string): Promise<FoundSidecar> {
  const found = await stat(path).catch((cause: NodeJS.ErrnoException) => cause);
  const isFolder = !(found instanceof Error) && found.isDirectory();
  const isPlate = !isFolder && !/\.json$/i.test(path);
  const folder = isFolder ? path : dirname(path);
  const sidecarPath = join(folder, isFolder || isPlate ? 'plate.json' : basename(path));
  try {
    const sidecar = JSON.parse(await readFile(sidecarPath, 'utf8')) as Sidecar;
    requireSound(sidecar);
    const { file } = sidecar.plate;
    if (isPlate && basename(path) !== file) throw new Error(`it is that of ${file}, not of ${basename(path)}`);
    return { sidecar, folder, sidecarPath };
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    // Of a plate that was moved away the sidecar is still read; any other name that leads nowhere was mistyped.
    const isMissing = found instanceof Error && ['ENOENT', 'ENOTDIR'].includes(found.code ?? '');
    const fault = isMissing ? `${path} is missing` : `${sidecarPath} cannot be read as a sidecar (${reason})`;
    const remedy = 'Give the folder that stitch wrote, or the plate in it.';
    throw new InputError('SIDECAR_UNREADABLE', `${fault}. ${remedy}`, { cause });
  }
}

/** Files of the capture that a sidecar has a hash of, but for its frames: calibration, guide, what was left out. */
export function otherInputs({ capture, leftOut }: Sidecar): HashedFile[] {
  const { guide, calibration } = capture;
  return [
    ...calibration.flatMap(({ files }) => files),
    ...(guide ? [{ file: guide.item, sha256: guide.sha256 }] : []),
    ...leftOut.flatMap(({ item, sha256 }) => (sha256 === undefined ? [] : [{ file: item, sha256 }])),
  ];
}

function requireSound(sidecar: Sidecar): void {
  if (sidecar.format !== 'plenilune-plate') throw new Error('it is not the sidecar of a plate');
  if (sidecar.version !== SIDECAR_VERSION) throw new Error(`it has version ${sidecar.version}`);
  const { plate, preview, files, passes, where, gaps } = sidecar;
  const namesElsewhere = [plate, preview].some(({ file }) => file !== basename(file));
  if (namesElsewhere || !files.every(({ file }) => staysInside(file))) throw new Error('it names files elsewhere');
  const frames = passes.flatMap((pass) => pass.frames);
  for (const { file, sha256 } of [plate, preview, ...files, ...frames, ...otherInputs(sidecar)]) {
    if (typeof file !== 'string' || !/^[0-9a-f]{64}$/.test(sha256)) throw new Error(`${file} has no hash`);
  }
  if (!isSize(plate.widthPx) || !isSize(plate.heightPx) || !(preview.gain > 0)) throw new Error('its sizes are odd');
  const { encoding, primaries, alpha } = plate;
  if (!Object.values(ENCODING_NAMES).includes(encoding) || !MASTER_PRIMARIES.includes(primaries))
    throw new Error(`it does not say how its colours are to be read (${encoding}, ${primaries})`);
  if (alpha !== 'coverage' && alpha !== 'coverage-and-matte') throw new Error(`its alpha is of no kind (${alpha})`);
  if (typeof where.known !== 'boolean' || !Array.isArray(gaps)) throw new Error('it does not say what it shows');
}

/** Tiles lie in a folder of their own; nothing lies above. */
function staysInside(file: string): boolean {
  return typeof file === 'string' && !file.startsWith('/') && !file.includes('\\') && !file.split('/').includes('..');
}

function isSize(value: number): boolean {
  return Number.isSafeInteger(value) && value > 0;
}
