import type { LinearImage } from '../compute/image.js';

/** Share of the frames in which a pixel must stand out, and their least number, to be a defect of the sensor. */
const DEFECT_SHARE = 0.6;
const DEFECT_FRAMES = 3;

/** Pixels that stand out in most frames of a pass: the ground has moved on, so they belong to the sensor. */
export function sensorDefects(perFrame: readonly Uint32Array[]): Uint32Array {
  const times = new Map<number, number>();
  for (const list of perFrame) for (const i of list) times.set(i, (times.get(i) ?? 0) + 1);
  const least = Math.max(DEFECT_FRAMES, DEFECT_SHARE * perFrame.length);
  return Uint32Array.from([...times].filter(([, n]) => n >= least).map(([i]) => i)).sort();
}

/** Replaces each defect by the median of its neighbours that are none, in place, in every plane. */
export function mendDefects(image: LinearImage, defects: Uint32Array): void {
  const { width, planes } = image;
  const bad = new Set(defects);
  for (const i of defects) {
    const around = [i - 1, i + 1, i - width - 1, i - width, i - width + 1, i + width - 1, i + width, i + width + 1];
    const good = around.filter((k) => !bad.has(k));
    if (good.length === 0) continue;
    for (const plane of planes) {
      const values = good.map((k) => plane[k]!).sort((a, b) => a - b);
      plane[i] = (values[(values.length - 1) >> 1]! + values[values.length >> 1]!) / 2;
    }
  }
}
