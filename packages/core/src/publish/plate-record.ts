import { join } from 'node:path';
import type { HashedFile } from '../plate/hashed-file.js';
import { findSidecar, otherInputs } from '../plate/read-sidecar.js';
import type { SidecarFrame } from '../plate/sidecar.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { isInEphemeris } from '../sky/types.js';

/** What publishing and checking need of a sidecar. */
export interface PlateRecord {
  /** Absolute or as given: of the folder, the sidecar and the plate. */
  readonly folder: string;
  readonly sidecarPath: string;
  readonly platePath: string;
  readonly plate: HashedFile & { readonly widthPx: number; readonly heightPx: number; readonly covered: number };
  readonly preview: HashedFile & { readonly gain: number };
  readonly complete: boolean;
  readonly gaps: readonly string[];
  /** Passes that are in the plate. */
  readonly placedPasses: number;
  readonly frames: readonly (HashedFile & {
    readonly time: { readonly utc: string; readonly trusted: boolean } | null;
  })[];
  /** Every other file beside the plate that the sidecar names. */
  readonly beside: readonly HashedFile[];
  /** Where the plate lies on its body; null where that is not known. */
  readonly where: Whereabouts | null;
  /** Every other file of the capture that the sidecar has a hash of: calibration, guide, what was left out. */
  readonly others: readonly HashedFile[];
}

/**
 * What publishing and checking need of a plate's sidecar. `path` is the folder, the plate or the sidecar itself. Throws
 * InputError `SIDECAR_UNREADABLE` when there is none, or it is not one of ours.
 */
export async function readPlateRecord(path: string): Promise<PlateRecord> {
  const { sidecar, folder, sidecarPath } = await findSidecar(path);
  const { plate, preview } = sidecar;
  return {
    folder,
    sidecarPath,
    platePath: join(folder, plate.file),
    plate: pick(plate, ['file', 'sha256', 'widthPx', 'heightPx', 'covered']),
    preview: pick(preview, ['file', 'sha256', 'gain']),
    complete: sidecar.complete,
    gaps: sidecar.gaps.map(({ where }) => where),
    placedPasses: sidecar.passes.filter(({ placed }) => placed).length,
    frames: sidecar.passes
      .flatMap((pass) => pass.frames)
      .map(({ file, sha256, time }) => ({ file, sha256, time: time && { utc: time.utc, trusted: isTrusted(time) } })),
    others: otherInputs(sidecar),
    beside: sidecar.files
      .filter(({ file }) => file !== plate.file && file !== preview.file)
      .map((file) => pick(file, ['file', 'sha256'])),
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

function pick<From extends object, Name extends keyof From>(from: From, names: readonly Name[]): Pick<From, Name> {
  return Object.fromEntries(names.map((name) => [name, from[name]])) as Pick<From, Name>;
}
