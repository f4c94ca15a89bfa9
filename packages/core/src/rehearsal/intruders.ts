import type { Random } from '../compute/random.js';
import type { RehearsalSettings } from './settings.js';

/** A bright straight line across one frame, frame px: something that passed while the shutter was open. */
export interface Trail {
  readonly kind: 'trail';
  readonly frame: number;
  /** A point on it, its direction, and its width. */
  readonly x: number;
  readonly y: number;
  readonly angleDeg: number;
  readonly widthPx: number;
  /** Light that is added on its middle, before the sensor takes its share; 1 is the clipping point. */
  readonly level: number;
}

/** An opaque body in one frame; a flight of several frames is one entry each. */
export interface Bird {
  readonly kind: 'bird';
  readonly frame: number;
  readonly x: number;
  readonly y: number;
  readonly radiusPx: number;
}

/** A single pixel that a particle lit in one frame. */
export interface Hit {
  readonly kind: 'hit';
  readonly frame: number;
  readonly x: number;
  readonly y: number;
  readonly level: number;
}

/** What is in single frames only. */
export type Intruder = Trail | Bird | Hit;

/** Draws what crosses the frames of one pass. */
export function drawIntruders(settings: RehearsalSettings, frames: number, random: Random): Intruder[] {
  const { frameWidthPx: width, frameHeightPx: height } = settings;
  const anywhere = (source: Random): { readonly x: number; readonly y: number } => ({
    x: (0.15 + 0.7 * source.uniform()) * width,
    y: (0.15 + 0.7 * source.uniform()) * height,
  });
  const out: Intruder[] = [];
  for (let k = 0; k < settings.trails; k++) {
    const source = random.fork(`trail-${k}`);
    const frame = Math.floor(source.uniform() * frames);
    const place = anywhere(source);
    const angleDeg = 180 * source.uniform();
    const widthPx = 1.5 + 2.5 * source.uniform();
    out.push({ kind: 'trail', frame, ...place, angleDeg, widthPx, level: settings.trailLevel });
  }
  for (let k = 0; k < settings.birds; k++) {
    const source = random.fork(`bird-${k}`);
    const first = Math.floor(source.uniform() * frames);
    const count = 1 + Math.floor(3 * source.uniform());
    const { x, y } = anywhere(source);
    const radiusPx = 5 + 15 * source.uniform();
    const [stepX, stepY] = [0.12 * width * (source.uniform() - 0.5), 0.12 * height * (source.uniform() - 0.5)];
    for (let i = 0; i < count && first + i < frames; i++) {
      out.push({ kind: 'bird', frame: first + i, x: x + i * stepX, y: y + i * stepY, radiusPx });
    }
  }
  for (let frame = 0; frame < frames; frame++) {
    for (let k = 0; k < settings.hitsPerFrame; k++) {
      const source = random.fork(`hit-${frame}-${k}`);
      const x = Math.floor(source.uniform() * width);
      const y = Math.floor(source.uniform() * height);
      out.push({ kind: 'hit', frame, x, y, level: 0.1 + 0.5 * source.uniform() });
    }
  }
  return out;
}

/** How intruders change the light that one pixel records: share of the ground's light that is let through, and what is added. */
export function intrusionAt(intruders: readonly Intruder[], x: number, y: number): { through: number; added: number } {
  let through = 1;
  let added = 0;
  for (const one of intruders) {
    if (one.kind === 'bird') {
      // The edge is as soft as a pixel.
      const inside = one.radiusPx - Math.hypot(x - one.x, y - one.y) + 0.5;
      through *= 1 - Math.min(1, Math.max(0, inside));
    } else if (one.kind === 'trail') {
      const angle = (one.angleDeg * Math.PI) / 180;
      const off = Math.abs((y - one.y) * Math.cos(angle) - (x - one.x) * Math.sin(angle));
      added += one.level * Math.min(1, Math.max(0, one.widthPx / 2 - off + 0.5));
    } else if (one.x === x && one.y === y) {
      added += one.level;
    }
  }
  return { through, added };
}
