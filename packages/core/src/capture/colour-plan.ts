import { decoderOf, type StandardCurve } from './curves.js';
import { readProfile } from './icc-profile.js';
import { primariesToSrgb } from './primaries.js';
import type { DecodedStill, RecordedCurve, RecordedPrimaries } from './read-still.js';
import type { StillHeader } from './still-header.js';

/** How a file's recorded values become linear light. */
export interface ColourPlan {
  readonly name: DecodedStill['curve'];
  /** Recorded value in 0..1 to linear light: one for all channels, or one per channel. */
  readonly curves: readonly ((recorded: number) => number)[];
  /** Row-major 3 x 3, applied to linear RGB, or `undefined`. */
  readonly matrix: readonly number[] | undefined;
  /** The embedded profile works by tables: a colour engine must bring the codes to sRGB first. */
  readonly viaColourEngine: boolean;
  readonly notes: readonly string[];
}

/**
 * Chooses the curve: the caller's override, except for a sensor's raw data; else the embedded profile; else what the
 * file declares; else linear for floats and for kinds of file that hold linear light, and sRGB for other integers. Throws a plain `Error` when the file's own statement cannot be followed.
 */
export function planColour(
  header: StillHeader,
  curve: RecordedCurve,
  primaries: RecordedPrimaries = 'auto',
): ColourPlan {
  const plan = planByFile(header, curve);
  if (primaries === 'auto' || header.channels === 1 || header.linear === 'always') return plan;
  return { ...plan, matrix: primariesToSrgb(primaries) };
}

function planByFile(header: StillHeader, curve: RecordedCurve): ColourPlan {
  const { linear, toSrgb } = header;
  if (linear === 'always') {
    const notes = ['auto', 'linear'].includes(curve) ? [] : [`Raw data are linear; the curve ${curve} is not applied.`];
    return { ...standard('linear'), notes };
  }
  if (curve !== 'auto') return standard(curve);
  if (header.icc !== undefined) return planProfile(header, header.icc);
  const { declared } = header;
  if (typeof declared === 'number') {
    return {
      ...standard('linear'),
      name: 'gamma',
      curves: [(recorded) => Math.sign(recorded) * Math.abs(recorded) ** (1 / declared)],
      notes: [`The file declares the exponent ${declared}.`],
    };
  }
  if (declared !== undefined) {
    return { ...standard(declared), notes: declared === 'srgb' ? [] : [`The file declares the curve ${declared}.`] };
  }
  return { ...standard(header.samples === 'float' || linear !== undefined ? 'linear' : 'srgb'), matrix: toSrgb };
}

function standard(curve: StandardCurve): ColourPlan {
  return { name: curve, curves: [decoderOf(curve)], matrix: undefined, viaColourEngine: false, notes: [] };
}

function planProfile(header: StillHeader, icc: Buffer): ColourPlan {
  const conversion = readProfile(icc, header.channels);
  if (conversion === undefined) {
    if (header.bitsPerSample !== 8 || header.channels !== 3) {
      throw new Error('its colour profile works by tables, which is read for 8-bit RGB only; convert it to sRGB first');
    }
    const notes = ['The profile works by tables; colours passed through 8-bit sRGB.'];
    return { ...standard('srgb'), name: 'profile', viaColourEngine: true, notes };
  }
  if (conversion.isSrgb) return standard('srgb');
  return { ...conversion, name: 'profile', viaColourEngine: false, notes: [] };
}
