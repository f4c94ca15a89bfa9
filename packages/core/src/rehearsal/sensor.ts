import type { Random } from '../compute/random.js';
import { smoothstep } from './noise.js';
import type { RehearsalSettings } from './settings.js';

/** What the sensor does to the light, the same in every frame. */
export interface Sensor {
  /** Share of the light that arrives, 65535 = all of it; the very numbers of flat.png. */
  readonly flat: Uint16Array;
  /** Hot pixels: index of the pixel, channel, and what it adds. */
  readonly hot: readonly { readonly pixel: number; readonly channel: number; readonly level: number }[];
}

/** Vignetting 1 + a2 r^2 + a4 r^4 (r = 1 in the corners), soft dust shadows, hot pixels. */
export function makeSensor(settings: RehearsalSettings, random: Random): Sensor {
  const { frameWidthPx: width, frameHeightPx: height } = settings;
  const specks = drawSpecks(settings, random.fork('dust'));
  const flat = new Uint16Array(width * height);
  const a2 = -0.7 * settings.vignetting;
  const a4 = -0.3 * settings.vignetting;
  const midX = (width - 1) / 2;
  const midY = (height - 1) / 2;
  const corner2 = midX * midX + midY * midY;
  const row = new Float32Array(width);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const r2 = ((x - midX) ** 2 + (y - midY) ** 2) / corner2;
      row[x] = 1 + a2 * r2 + a4 * r2 * r2;
    }
    for (const speck of specks) {
      if (Math.abs(y - speck.y) > 1.5 * speck.radius) continue;
      const from = Math.max(0, Math.ceil(speck.x - 1.5 * speck.radius));
      const to = Math.min(width - 1, Math.floor(speck.x + 1.5 * speck.radius));
      for (let x = from; x <= to; x++)
        row[x]! *= 1 - speck.depth * shadowAt(Math.hypot(x - speck.x, y - speck.y) / speck.radius);
    }
    for (let x = 0; x < width; x++) flat[y * width + x] = Math.round(65535 * row[x]!);
  }
  return { flat, hot: drawHotPixels(settings, random.fork('hot')) };
}

interface Speck {
  readonly x: number;
  readonly y: number;
  readonly radius: number;
  readonly depth: number;
}

function drawSpecks(settings: RehearsalSettings, random: Random): Speck[] {
  const size = Math.min(settings.frameWidthPx, settings.frameHeightPx);
  return Array.from({ length: settings.dust }, (_, k) => {
    const source = random.fork(`${k}`);
    return {
      x: source.uniform() * settings.frameWidthPx,
      y: source.uniform() * settings.frameHeightPx,
      radius: size * (0.008 + 0.03 * source.uniform()),
      depth: 0.005 + 0.035 * source.uniform() ** 2,
    };
  });
}

/** Out-of-focus dust: the pupil's disc with the central obstruction's paler middle; 0 from 1.5 radii on. */
function shadowAt(r: number): number {
  return smoothstep(1.25, 0.8, r) * (1 - 0.55 * smoothstep(0.5, 0.15, r));
}

function drawHotPixels(settings: RehearsalSettings, random: Random): Sensor['hot'] {
  return Array.from({ length: settings.hotPixels }, (_, k) => {
    const source = random.fork(`${k}`);
    const column = Math.floor(source.uniform() * settings.frameWidthPx);
    const row = Math.floor(source.uniform() * settings.frameHeightPx);
    const channel = Math.floor(source.uniform() * 3);
    return { pixel: row * settings.frameWidthPx + column, channel, level: 0.05 + 0.6 * source.uniform() ** 2 };
  });
}
