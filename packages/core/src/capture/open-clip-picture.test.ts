import { writeFile } from 'node:fs/promises';
import { describe, expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import type { ClipFacts } from './clip-facts.js';
import { openClipPicture } from './open-clip-picture.js';
import { AS_FILES_SAY } from './reading.js';

const LINEAR = { ...AS_FILES_SAY, curve: 'linear' } as const;

const scratch = useScratch();
let made = 0;

async function picture(codes: readonly number[], facts: Partial<ClipFacts>) {
  const file = scratch(`${made++}.raw`);
  await writeFile(file, Uint8Array.from(codes));
  const plain: ClipFacts = {
    ...{ widthPx: 8, heightPx: 4, container: 'mov', codec: 'rawvideo', pixelFormat: 'yuv420p' },
    ...{ primaries: 1, transfer: 1, matrix: 1, range: 1, chromaSite: 1, turnDeg: 0, pixelAspect: 1 },
    ...{ interlaced: false, times: null, count: 1, announced: 1, tick: 1, created: null, timeCode: null },
  };
  const strides = facts.pixelFormat === 'gray' ? [facts.widthPx ?? plain.widthPx] : [8, 4, 4];
  const rows = { strides, lowestFirst: false };
  const open = openClipPicture('a clip', { codes: file, at: 0, rows, facts: { ...plain, ...facts } }, LINEAR);
  const planes = Array.from({ length: open.channels }, () => new Float32Array(open.width * open.height));
  open.rows(0, planes);
  return { open, planes };
}

/** Differences of 8 x 4 px at half size that grow by 8 codes from one to the next across. */
const GROWING = [0, 1].flatMap(() => [112, 120, 128, 136]);

describe('openClipPicture', () => {
  it('puts differences where the clip says that they stand', async () => {
    const codes = [...Array<number>(32).fill(126), ...Array<number>(8).fill(128), ...GROWING];
    const redAt = async (chromaSite: number, x: number) => {
      const { planes } = await picture(codes, { chromaSite });
      return ((planes[0]![x]! - 110 / 219) / (2 * (1 - 0.2126))) * 224 + 128;
    };
    expect(await redAt(1, 2)).toBeCloseTo(120, 3);
    expect(await redAt(1, 3)).toBeCloseTo(124, 3);
    expect(await redAt(2, 2)).toBeCloseTo(118, 3);
    expect(await redAt(2, 3)).toBeCloseTo(122, 3);
  });

  it('makes red from the codes of red', async () => {
    // 8-bit BT.709 codes of full red: luma 63, blue difference 102, red difference 240.
    const codes = [...Array<number>(32).fill(63), ...Array<number>(8).fill(102), ...Array<number>(8).fill(240)];
    const { planes } = await picture(codes, {});
    expect(planes[0]![9]).toBeCloseTo(1, 2);
    expect(planes[1]![9]).toBeCloseTo(0, 2);
    expect(planes[2]![9]).toBeCloseTo(0, 2);
  });

  it('counts luma at white as clipped, and keeps what lies above', async () => {
    const codes = [...Array<number>(24).fill(100), ...Array<number>(8).fill(250), ...Array<number>(16).fill(128)];
    const { open, planes } = await picture(codes, {});
    expect(open.clipped()).toBe(0.25);
    expect(planes[0]![31]).toBeCloseTo(234 / 219, 4);
  });

  it('turns pictures upright', async () => {
    const { open, planes } = await picture([1, 2, 3, 4, 5, 6], {
      pixelFormat: 'gray',
      widthPx: 3,
      heightPx: 2,
      range: 2,
      turnDeg: 90,
    });
    expect([open.width, open.height]).toEqual([2, 3]);
    expect(Array.from(planes[0]!, (v) => Math.round(v * 255))).toEqual([4, 1, 5, 2, 6, 3]);
  });
});
