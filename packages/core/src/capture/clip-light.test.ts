import { describe, expect, it } from 'vitest';
import type { ClipFacts } from './clip-facts.js';
import { type ClipPlan, planClip } from './clip-light.js';
import { times } from './colour-matrix.js';
import { decodeBt709 } from './curves.js';
import { AS_FILES_SAY } from './reading.js';

const PLAIN: ClipFacts = {
  ...{ widthPx: 1920, heightPx: 1080, container: 'mov', codec: 'prores', pixelFormat: 'yuv422p10le' },
  ...{ primaries: 1, transfer: 1, matrix: 1, range: 1, chromaSite: 1, turnDeg: 0, pixelAspect: 1 },
  ...{ interlaced: false, times: null, count: 1, announced: 1, tick: 1, created: null, timeCode: null },
};

function plan(facts: Partial<ClipFacts>): ClipPlan {
  const found = planClip({ ...PLAIN, ...facts }, AS_FILES_SAY);
  if (typeof found === 'string') throw new Error(found);
  return found;
}

describe('planClip', () => {
  it('takes range and depth into account: BT.709-6 item 4, BT.2100-2 table 9', () => {
    expect(plan({})).toMatchObject({ black: 64, white: 940, middle: 512, half: 448 });
    expect(plan({ range: 2 })).toMatchObject({ black: 0, white: 1023, middle: 512 });
    expect(plan({ range: 0, pixelFormat: 'yuvj420p' })).toMatchObject({ black: 0, white: 255 });
    expect(plan({ range: 0, pixelFormat: 'gbrp12le' })).toMatchObject({ black: 0, white: 4095, luma: undefined });
  });

  it('decodes by the curve that the clip names', () => {
    expect(plan({}).decode(0.5)).toBe(decodeBt709(0.5));
    expect(plan({ transfer: 8 }).decode(0.3)).toBe(0.3);
    // 100 cd/m² is 0.508 of the absolute curve: Rep. ITU-R BT.2408.
    expect(plan({ transfer: 16 }).decode(0.5081)).toBeCloseTo(0.1, 3);
    expect(plan({ transfer: 18 }).decode(0.5)).toBeCloseTo(1 / 12, 6);
    expect(plan({ transfer: 18 }).decode(1)).toBeCloseTo(1, 6);
  });

  it('keeps white white through every set of primaries', () => {
    for (const primaries of [5, 6, 9, 11, 12]) {
      for (const v of times(plan({ primaries }).matrix!, [1, 1, 1])) expect(v).toBeCloseTo(1, 6);
    }
    expect(plan({}).matrix).toBeUndefined();
    // BT.2020's red in linear sRGB: Rep. ITU-R BT.2407, section 2.2.
    expect(times(plan({ primaries: 9 }).matrix!, [1, 0, 0]).map((v) => Math.round(v * 1e4))).toEqual([
      16605, -1246, -182,
    ]);
  });

  it('goes by what is usual where the clip says nothing, and says so', () => {
    const silent = plan({ transfer: 2, matrix: 2, primaries: 2, range: 0 });
    expect(silent).toMatchObject({ curve: 'bt709', luma: [0.2126, 0.0722], black: 64 });
    expect(silent.notes).toHaveLength(1);
    expect(plan({ matrix: 2, heightPx: 576 }).luma).toEqual([0.299, 0.114]);
  });

  it('refuses what it does not know', () => {
    expect(planClip({ ...PLAIN, transfer: 9 }, AS_FILES_SAY)).toContain('code point 9');
    expect(planClip({ ...PLAIN, matrix: 8 }, AS_FILES_SAY)).toContain('code point 8');
  });
});
