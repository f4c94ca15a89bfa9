import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { readStill } from '../capture/read-still.js';
import { type Intruder, intrusionAt } from './intruders.js';
import { rehearse } from './rehearse.js';
import type { RehearsalSettings } from './settings.js';

const scratch = useScratch();
const SMALL: Partial<RehearsalSettings> = {
  ...{ seed: 11, discDiameterPx: 260, frameWidthPx: 160, frameHeightPx: 120, passes: 1, framesPerPass: 4 },
  ...{ bits: 16, fullWellElectrons: 0, vignetting: 0, dust: 0, hotPixels: 0 },
};

test('a trail adds its level on its width, a bird lets no light through, a hit is one pixel', () => {
  const trail: Intruder = { kind: 'trail', frame: 0, x: 50, y: 40, angleDeg: 0, widthPx: 3, level: 0.2 };
  expect([38, 39, 40, 41, 42].map((y) => intrusionAt([trail], 7, y).added)).toEqual([0, 0.2, 0.2, 0.2, 0]);
  const bird: Intruder = { kind: 'bird', frame: 0, x: 20, y: 20, radiusPx: 6 };
  expect(intrusionAt([bird], 24, 20)).toEqual({ through: 0, added: 0 });
  expect(intrusionAt([bird], 27, 20)).toEqual({ through: 1, added: 0 });
  const hit: Intruder = { kind: 'hit', frame: 0, x: 3, y: 4, level: 0.5 };
  expect([intrusionAt([hit], 3, 4).added, intrusionAt([hit], 4, 4).added]).toEqual([0.5, 0]);
});

test('what truth.json tells is in the frames it names, and nowhere else', async () => {
  await rehearse(scratch('clean'), SMALL);
  await rehearse(scratch('crossed'), { ...SMALL, trails: 1, trailLevel: 0.1, birds: 1, hitsPerFrame: 2 });
  const truth = JSON.parse(await readFile(join(scratch('crossed'), 'truth.json'), 'utf8')) as {
    readonly intruders: Readonly<Record<string, readonly Intruder[]>>;
  };
  const [[pass, intruders]] = Object.entries(truth.intruders) as [[string, Intruder[]]];
  expect(new Set(intruders.map((one) => one.kind))).toEqual(new Set(['trail', 'bird', 'hit']));
  let touched = 0;
  for (let frame = 0; frame < 4; frame++) {
    const name = `capture/${pass}/frame_${String(frame).padStart(4, '0')}.png`;
    const [clean, crossed] = await Promise.all(
      ['clean', 'crossed'].map(async (dir) => (await readStill(join(scratch(dir), name))).image),
    );
    const own = intruders.filter((one) => one.frame === frame);
    clean!.planes[0]!.forEach((v, i) => {
      const { through, added } = intrusionAt(own, i % 160, Math.floor(i / 160));
      const difference = crossed!.planes[0]![i]! - v;
      if (through === 1 && added === 0) expect(difference).toBe(0);
      else if (through === 1) {
        touched++;
        // 16 bits of an sRGB curve, linear light of 16 bits.
        expect(Math.abs(difference - Math.min(added, 1 - v))).toBeLessThan(1e-4);
      } else expect(difference).toBeLessThanOrEqual(added);
    });
  }
  expect(touched).toBeGreaterThan(100);
});
