import type { Random } from '../compute/random.js';
import type { RehearsalSettings } from './settings.js';

/** Gain and sky level of a frame: recorded = flat * (gain * scene + sky). */
export interface FrameLight {
  readonly gain: number;
  readonly sky: number;
}

/** Light of each of the `count` frames of one pass: extinction and dusk over the night, thin haze over the pass, an offset per pass. */
export function frameLights(
  settings: RehearsalSettings,
  count: number,
  position: number,
  passes: number,
  random: Random,
): FrameLight[] {
  const offset = position === 0 ? 0 : settings.gainSpread * Math.min(2, Math.max(-2, random.fork('offset').normal()));
  const haze = random.fork('haze');
  const phase = 2 * Math.PI * haze.uniform();
  const swing = 0.25 * settings.gainSpread * haze.uniform();
  const glow = 1 + 0.4 * random.fork('glow').uniform();
  return Array.from({ length: count }, (_, k) => {
    // Time in passes since the first frame; the night is as long as all its passes.
    const time = position + (count > 1 ? k / (count - 1) : 0);
    const left = (1 - settings.extinction) ** (time / passes);
    const gain =
      settings.gain * left * (1 + offset) * (1 + swing * (Math.cos(phase + (2.2 * k) / Math.max(1, count - 1)) - 1));
    const dusk = settings.dusk * 2 ** (-time / settings.duskHalvingPasses);
    // Moonlight that the air scatters brightens slowly as the Moon sinks.
    const sky = settings.sky * (glow + 0.5 * (time / passes)) + dusk;
    return { gain, sky };
  });
}
