import type { Sidecar, SidecarFrame } from '../plate/sidecar.js';
import type { Whereabouts } from '../plate/whereabouts.js';
import { isInEphemeris } from '../sky/types.js';

/** What of a plate its description is made from. */
export interface PlateStory {
  readonly plate: { readonly widthPx: number; readonly heightPx: number };
  readonly complete: boolean;
  /** Passes that are in the plate. */
  readonly placedPasses: number;
  readonly frames: readonly { readonly time: FrameTime | null }[];
  /** Where the plate lies on its body; null where that is not known. */
  readonly where: Whereabouts | null;
  /** Whether a program drew the frames, so that nothing was photographed. */
  readonly synthetic: boolean;
}

/** When a frame began, ISO 8601 in UTC, and whether that can be believed. */
export interface FrameTime {
  readonly utc: string;
  readonly trusted: boolean;
}

/** What a plate's sidecar tells, or will tell, of what the plate shows. */
export type ToldPlate = Pick<Sidecar, 'complete' | 'where' | 'passes'> & Pick<PlateStory, 'plate' | 'synthetic'>;

/** That, as it is described. */
export function storyOf({ plate: { widthPx, heightPx }, ...told }: ToldPlate): PlateStory {
  return {
    plate: { widthPx, heightPx },
    complete: told.complete,
    placedPasses: told.passes.filter(({ placed }) => placed).length,
    frames: told.passes.flatMap(({ frames }) => frames).map(({ time }) => ({ time: timeOf(time) })),
    where: told.where.known ? told.where : null,
    synthetic: told.synthetic,
  };
}

/**
 * A file's own time may be that of a copy, one without an uncertainty only says when something was changed, and a clock that
 * was never set shows a year that nobody has photographed in.
 */
function timeOf(time: SidecarFrame['time']): FrameTime | null {
  if (time === null) return null;
  const { utc, from, uncertaintyS } = time;
  return { utc, trusted: from !== 'file' && uncertaintyS !== null && isInEphemeris(new Date(utc)) };
}
