import type { LinearImage, Plane } from '../src/compute/image.js';
import { createRandom } from '../src/compute/random.js';
import { gaugeOf, type LimbEllipse } from '../src/plate/limb-ellipse.js';
import { alphaAt } from '../src/plate/matte.js';

/** A plate whose body, alpha and sky are known: P = alpha·body + (1 − alpha)·sky, and noise. */
export interface KnownDisc {
  readonly image: LinearImage;
  readonly coverage: Plane;
  readonly alpha: Float32Array;
  /** Of one channel; the others are multiples. */
  readonly body: Float32Array;
  readonly tint: readonly number[];
  readonly sky: readonly number[];
}

/** Light of the lit limb, about. */
export const LIMB_LIGHT = 0.4;

/** Makes one: lit from the right, dark beyond the terminator, with ground. */
export function knownDisc(
  width: number,
  height: number,
  ellipse: LimbEllipse,
  sigmaPx: number,
  noise = 0.001,
): KnownDisc {
  const random = createRandom(`disc/${width}/${sigmaPx}`);
  const gauge = gaugeOf(ellipse);
  const alpha = new Float32Array(width * height);
  const body = new Float32Array(width * height);
  const tint = [1.05, 1, 0.9];
  const sky = [0.02, 0.025, 0.03];
  const planes = tint.map(() => new Float32Array(width * height));
  for (let y = 0, i = 0; y < height; y++) {
    for (let x = 0; x < width; x++, i++) {
      alpha[i] = alphaAt(gauge.place(x, y).distancePx, { sigmaPx, offsetPx: 0 });
      const sunwards = (x - ellipse.centreX) / ellipse.aPx;
      const ground = 1 + 0.1 * Math.sin(x / 23 + Math.sin(y / 31)) * Math.sin(y / 19);
      body[i] = LIMB_LIGHT * Math.max(0.002, Math.min(1, 2 * (sunwards + 0.2))) * ground;
      for (const [c, plane] of planes.entries()) {
        const slope = 1e-5 * (x - y);
        const light = alpha[i]! * tint[c]! * body[i]! + (1 - alpha[i]!) * (sky[c]! + slope);
        plane[i] = light + noise * random.normal();
      }
    }
  }
  const coverage = { width, height, data: new Float32Array(width * height).fill(1) };
  return { image: { width, height, planes }, coverage, alpha, body, tint, sky };
}
