import { expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { readStill } from '../capture/read-still.js';
import { rehearse } from '../rehearsal/rehearse.js';
import { measureColourShift } from './colour-shift.js';

const scratch = useScratch();

async function frameOf(name: string, dispersionPx: number, zenithDeg: number) {
  const settings = { seed: 21, dispersionPx, zenithDeg, passes: 1, framesPerPass: 1, bits: 16 as const };
  const { passes } = await rehearse(scratch(name), settings);
  const { image } = await readStill(`${scratch(name)}/capture/${passes[0]!.name}/frame_0000.png`);
  return { image, x0: 0, y0: 0, width: image.width, height: image.height };
}

it('finds how far the air has spread the colours, and which way', async () => {
  const shift = measureColourShift(await frameOf('apart', 1.4, 60))!;
  const [x, y] = [0.7 * Math.cos(Math.PI / 3), -0.7 * Math.sin(Math.PI / 3)];
  // One frame of 960 x 640 px with noise; measured 0.003 px.
  expect(Math.hypot(shift.blue[0] - x, shift.blue[1] - y)).toBeLessThan(0.015);
  expect(Math.hypot(shift.red[0] + x, shift.red[1] + y)).toBeLessThan(0.015);
  expect(shift.sigmaPx).toBeLessThan(0.01);
});

it('finds nothing where nothing is, and says nothing where there is no detail', async () => {
  const input = await frameOf('together', 0, 0);
  const shift = measureColourShift(input)!;
  expect(Math.hypot(...shift.red)).toBeLessThan(0.01);
  expect(Math.hypot(...shift.blue)).toBeLessThan(0.01);
  const planes = input.image.planes.map((p) => p.map(() => 0.3));
  expect(measureColourShift({ ...input, image: { ...input.image, planes } })).toBeNull();
});
