import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { readStill } from '../src/capture/read-still.js';
import type { PlateSource } from '../src/plate/plate-source.js';

/** The scene of a rendered capture: the Moon's real surface with a known pose, as a plate, and its truth file. */
export interface RenderedMoon {
  readonly source: PlateSource;
  readonly truth: RenderedTruth;
}

/** What is used of truth.json; px of truth.png. */
export interface RenderedTruth {
  readonly os: number;
  readonly capture_centre_px: readonly [number, number];
  readonly disc: { readonly diameter_px: number; readonly centre_px: readonly [number, number] };
  readonly geometry: {
    readonly position_angle_deg: number;
    readonly distance_radii: number;
    readonly sub_observer_deg: readonly [number, number];
    readonly sub_solar_deg: readonly [number, number];
  };
  readonly check_points: readonly {
    readonly name: string;
    readonly lon: number;
    readonly lat: number;
    readonly x: number;
    readonly y: number;
  }[];
}

/** Reads scene and truth of `../shared/real/captures/NAME`. */
export async function renderedMoon(name: string): Promise<RenderedMoon> {
  const folder = join('../shared/real/captures', name);
  const truth = JSON.parse(await readFile(join(folder, 'truth.json'), 'utf8')) as RenderedTruth;
  const { image } = await readStill(join(folder, 'truth.png'), { curve: 'linear' });
  const [light] = image.planes;
  return { source: plateOf(light!, image.width, image.height), truth };
}

/** A fully covered grey plate in memory. */
export function plateOf(light: Float32Array, width: number, height: number): PlateSource {
  return {
    width,
    height,
    channels: 1,
    read: (box) => {
      const data = new Float32Array(box.width * box.height);
      for (let y = 0; y < box.height; y++) {
        const from = (box.y0 + y) * width + box.x0;
        data.set(light.subarray(from, from + box.width), y * box.width);
      }
      return {
        image: { width: box.width, height: box.height, planes: [data] },
        coverage: { width: box.width, height: box.height, data: new Float32Array(data.length).fill(1) },
      };
    },
  };
}
