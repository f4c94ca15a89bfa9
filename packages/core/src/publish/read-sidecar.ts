import { readFile, stat } from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { InputError } from '../job/errors.js';
import { SIDECAR_VERSION, type Sidecar, type SidecarFrame } from '../plate/sidecar.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { isInEphemeris } from '../sky/types.js';

/** A file that a sidecar names, with its hash. */
export interface RecordedFile {
  /** Path relative to the capture, or the name beside the sidecar. */
  readonly file: string;
  readonly sha256: string;
}

/** What publishing and checking need of a sidecar. */
export interface PlateRecord {
  /** Absolute or as given: of the folder, the sidecar and the plate. */
  readonly folder: string;
  readonly sidecarPath: string;
  readonly platePath: string;
  readonly plate: RecordedFile & { readonly widthPx: number; readonly heightPx: number; readonly covered: number };
  readonly preview: RecordedFile & { readonly gain: number };
  readonly complete: boolean;
  readonly gaps: readonly string[];
  /** Passes that are in the plate. */
  readonly placedPasses: number;
  readonly frames: readonly (RecordedFile & {
    readonly time: { readonly utc: string; readonly trusted: boolean } | null;
  })[];
  /** Every other file beside the plate that the sidecar names. */
  readonly beside: readonly RecordedFile[];
  /** Where the plate lies on its body; null where that is not known. */
  readonly where: Whereabouts | null;
  /** Every other file of the capture that the sidecar has a hash of: calibration, guide, what was left out. */
  readonly others: readonly RecordedFile[];
}

/**
 * Reads the sidecar of a plate. `path` is the folder, the plate or the sidecar itself. Throws {@link InputError}
 * `SIDECAR_UNREADABLE` when there is none, or it is not one of ours.
 */
export async function readSidecar(path: string): Promise<PlateRecord> {
  const isFolder = await stat(path).then(
    (found) => found.isDirectory(),
    () => false,
  );
  const folder = isFolder ? path : dirname(path);
  const name = isFolder || !/\.json$/i.test(path) ? 'plate.json' : basename(path);
  const sidecarPath = join(folder, name);
  try {
    const sidecar = JSON.parse(await readFile(sidecarPath, 'utf8')) as Sidecar;
    if (sidecar.format !== 'plenilune-plate') throw new Error('it is not the sidecar of a plate');
    if (sidecar.version !== SIDECAR_VERSION) throw new Error(`it has version ${sidecar.version}`);
    const record = recordOf(sidecar, folder, sidecarPath);
    if (!isFolder && !/\.json$/i.test(path) && basename(path) !== record.plate.file)
      throw new Error(`it is that of ${record.plate.file}, not of ${basename(path)}`);
    return record;
  } catch (cause) {
    const reason = cause instanceof Error ? cause.message : String(cause);
    throw new InputError(
      'SIDECAR_UNREADABLE',
      `${sidecarPath} cannot be read as a sidecar (${reason}). Give the folder that stitch wrote, or the plate in it.`,
      { cause },
    );
  }
}

function recordOf(sidecar: Sidecar, folder: string, sidecarPath: string): PlateRecord {
  const { plate, preview, capture } = sidecar;
  if (plate.file !== basename(plate.file) || preview.file !== basename(preview.file))
    throw new Error('it names files elsewhere');
  const { guide } = capture;
  const others = [
    ...capture.calibration.flatMap(({ files }) => files),
    ...(guide ? [{ file: guide.item, sha256: guide.sha256 }] : []),
    ...sidecar.leftOut.flatMap(({ item, sha256 }) => (sha256 === undefined ? [] : [{ file: item, sha256 }])),
  ];
  const frames = sidecar.passes.flatMap((pass) => pass.frames);
  const beside = sidecar.files.filter(({ file }) => file !== plate.file && file !== preview.file);
  for (const { file } of beside) if (!staysInside(file)) throw new Error('it names files elsewhere');
  for (const { file, sha256 } of [plate, preview, ...beside, ...frames, ...others]) {
    if (typeof file !== 'string' || !/^[0-9a-f]{64}$/.test(sha256)) throw new Error(`${file} has no hash`);
  }
  if (!isSize(plate.widthPx) || !isSize(plate.heightPx) || !(preview.gain > 0)) throw new Error('its sizes are odd');
  return {
    folder,
    sidecarPath,
    platePath: join(folder, plate.file),
    plate: pick(plate, ['file', 'sha256', 'widthPx', 'heightPx', 'covered']),
    preview: pick(preview, ['file', 'sha256', 'gain']),
    complete: sidecar.complete,
    gaps: sidecar.gaps.map(({ where }) => where),
    placedPasses: sidecar.passes.filter(({ placed }) => placed).length,
    frames: frames.map(({ file, sha256, time }) => ({
      file,
      sha256,
      time: time && { utc: time.utc, trusted: isTrusted(time) },
    })),
    others,
    beside: beside.map((file) => pick(file, ['file', 'sha256'])),
    where: sidecar.where.known ? sidecar.where : null,
  };
}

/**
 * A file's own time may be that of a copy, one without an uncertainty only says when something was changed, and a clock that
 * was never set shows a year that nobody has photographed in.
 */
function isTrusted({ utc, from, uncertaintyS }: NonNullable<SidecarFrame['time']>): boolean {
  return from !== 'file' && uncertaintyS !== null && isInEphemeris(new Date(utc));
}

/** Tiles lie in a folder of their own; nothing lies above. */
function staysInside(file: string): boolean {
  return typeof file === 'string' && !file.startsWith('/') && !file.includes('\\') && !file.split('/').includes('..');
}

function isSize(value: number): boolean {
  return Number.isSafeInteger(value) && value > 0;
}

function pick<From extends object, Name extends keyof From>(from: From, names: readonly Name[]): Pick<From, Name> {
  return Object.fromEntries(names.map((name) => [name, from[name]])) as Pick<From, Name>;
}
