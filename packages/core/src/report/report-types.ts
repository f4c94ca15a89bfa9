import type { Owners } from '../blend/seams.js';
import type { Plane } from '../compute/image.js';
import type { TieResidual } from '../placement/residuals.js';
import type { HashedFile } from '../plate/hashed-file.js';
import type { PlateSource } from '../plate/plate-source.js';
import type { Sidecar } from '../plate/sidecar.js';

/** A named place on the plate, plate px (space 4). */
export interface ReportFeature {
  readonly name: string;
  readonly x: number;
  readonly y: number;
  /** Such as crater or mare. */
  readonly kind: string;
  /** Whether the Sun shines on it. */
  readonly lit: boolean;
}

/** A frame that is not in the plate, by its place in the recording. */
export interface LostFrame {
  readonly index: number;
  readonly reason: string;
}

/** What the plate is made of from place to place; a pixel stands on every `stepPx`th plate px each way, 0 where nothing is. */
export interface ReportMaps {
  readonly stepPx: number;
  /** Number of frames that show the place. */
  readonly coverage: Plane;
  /** Sharpness of what was stacked, against the mean of the pass's frames on the same ground; lit ground only. */
  readonly sharpness: Plane;
}

/** Everything that a report tells. */
export interface ReportInput {
  readonly sidecar: Sidecar;
  /** Name and hash of the sidecar's file, which lies beside the report. */
  readonly sidecarFile: HashedFile;
  /** The plate with its background as the master has it. */
  readonly source: PlateSource;
  /** By pass of the sidecar: the number of frames that it has, and those that were left out. */
  readonly frames: readonly { readonly of: number; readonly lost: readonly LostFrame[] }[];
  /** By overlap of the sidecar: what the poses leave at its ties, plate px. */
  readonly residuals: readonly (readonly TieResidual[])[];
  readonly maps: ReportMaps;
  /** Which placed pass each cell of 8 plate px belongs to. */
  readonly owners: Owners;
  /** Default: none, and no layer for them. */
  readonly features?: readonly ReportFeature[];
}
