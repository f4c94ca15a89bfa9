import { expect, it } from 'vitest';
import { plateFrom } from '../../test/plate-on-disk.js';
import { useScratch } from '../../test/scratch.js';
import { SRGB_COLOUR } from '../plate/master-colour.js';
import { writePlateTiff } from '../plate/tiff.js';
import { trimOf } from './trim.js';

const scratch = useScratch();
const [WIDTH, HEIGHT] = [400, 300];
const LIT_CODE = 20000;

/** Trims a plate that is covered where `isCovered` says and lit in a box. */
async function trimmed(name: string, lit: readonly number[], isCovered: (x: number, y: number) => boolean) {
  const [x0, y0, x1, y1] = lit as [number, number, number, number];
  const size = { width: WIDTH, height: HEIGHT };
  const places = Array.from({ length: WIDTH * HEIGHT }, (_, i) => [i % WIDTH, Math.floor(i / WIDTH)] as const);
  const light = Float32Array.from(places, ([x, y]) => (x >= x0 && x <= x1 && y >= y0 && y <= y1 ? 0.5 : 0.001));
  const share = Float32Array.from(places, ([x, y]) => (isCovered(x, y) ? 1 : 0));
  const planes = [light, light, light].map((plane) => plane.map((value, i) => value * share[i]!));
  const source = plateFrom(scratch(`${name}.f32`), { ...size, planes }, { ...size, data: share });
  await writePlateTiff(scratch(`${name}.tif`), source);
  return trimOf({ path: scratch(`${name}.tif`), widthPx: WIDTH, heightPx: HEIGHT, colour: SRGB_COLOUR }, LIT_CODE);
}

it('takes the largest covered rectangle where all lit ground lies in it', async () => {
  const box = await trimmed('margin', [100, 100, 200, 200], (x, y) => x >= 7 && y >= 3 && x < 390 && y < 295);
  expect(box).toEqual({ x0: 7, y0: 3, width: 383, height: 292 });
});

it('takes the largest one that holds all lit ground where another is larger', async () => {
  // A wide strip above, and a narrow one down from it in which the lit ground lies.
  const box = await trimmed('corner', [20, 100, 90, 260], (x, y) => y < 120 || (x < 100 && y < 280));
  expect(box).toEqual({ x0: 0, y0: 0, width: 100, height: 280 });
});

it('leaves a plate whole of which no covered rectangle holds all lit ground', async () => {
  const box = await trimmed('torn', [20, 20, 300, 200], (x, y) => x + y > 60);
  expect(box).toEqual({ x0: 0, y0: 0, width: WIDTH, height: HEIGHT });
});
