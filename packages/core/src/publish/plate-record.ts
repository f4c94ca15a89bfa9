import { join } from 'node:path';
import type { HashedFile } from '../plate/hashed-file.js';
import { ENCODING_NAMES, MASTER_ENCODINGS, type MasterColour } from '../plate/master-colour.js';
import { findSidecar, otherInputs } from '../plate/read-sidecar.js';
import type { Sidecar } from '../plate/sidecar.js';
import { type FrameTime, type PlateStory, storyOf } from './plate-story.js';

/** What publishing and checking need of a sidecar. */
export interface PlateRecord extends PlateStory {
  /** Absolute or as given: of the folder, the sidecar and the plate. */
  readonly folder: string;
  readonly sidecarPath: string;
  readonly platePath: string;
  readonly plate: HashedFile & Pick<Sidecar['plate'], 'widthPx' | 'heightPx' | 'covered' | 'alpha'>;
  /** How the plate's codes are to be read. */
  readonly colour: MasterColour;
  readonly preview: HashedFile & { readonly gain: number };
  readonly gaps: readonly string[];
  readonly frames: readonly (HashedFile & { readonly time: FrameTime | null })[];
  /** Every other file beside the plate that the sidecar names. */
  readonly beside: readonly HashedFile[];
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
  // Sidecars of before do not say; then it is a photograph.
  const story = storyOf({ ...sidecar, synthetic: sidecar.capture.synthetic === true });
  return {
    ...story,
    folder,
    sidecarPath,
    platePath: join(folder, plate.file),
    plate: pick(plate, ['file', 'sha256', 'widthPx', 'heightPx', 'covered', 'alpha']),
    colour: {
      encoding: MASTER_ENCODINGS.find((name) => ENCODING_NAMES[name] === plate.encoding)!,
      primaries: plate.primaries,
    },
    preview: pick(preview, ['file', 'sha256', 'gain']),
    gaps: sidecar.gaps.map(({ where }) => where),
    frames: sidecar.passes
      .flatMap((pass) => pass.frames)
      .map(({ file, sha256 }, i) => ({ file, sha256, ...story.frames[i]! })),
    others: otherInputs(sidecar),
    beside: sidecar.files
      .filter(({ file }) => file !== plate.file && file !== preview.file)
      .map((file) => pick(file, ['file', 'sha256'])),
  };
}

function pick<From extends object, Name extends keyof From>(from: From, names: readonly Name[]): Pick<From, Name> {
  return Object.fromEntries(names.map((name) => [name, from[name]])) as Pick<From, Name>;
}
