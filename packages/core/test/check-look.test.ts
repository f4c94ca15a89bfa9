import { cp, readdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { decodeSrgb } from '../src/capture/curves.js';
import { pictures } from '../src/capture/picture-library.js';
import { checkCapture } from '../src/check.js';
import { encodeSrgb8 } from '../src/plate/encode.js';
import { rehearse } from '../src/rehearsal/rehearse.js';
import { ephemeris } from '../src/sky/ephemeris.js';
import { standardAir } from '../src/sky/types.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
const NIGHT = { seed: 21, framesPerPass: 24, discDiameterPx: 640, frameWidthPx: 540, frameHeightPx: 360 };
const AIR = { tiltPx: 1.2, warpPx: 0.7, correlationFrames: 0.8, correlationShare: 0.16 };

beforeAll(async () => {
  await rehearse(scratch('good'), NIGHT);
  // Only its upper pass is taken.
  const half = NIGHT.framesPerPass / 2;
  const blurred = { ...AIR, blurPx: [2.8, 3.2] as const };
  await rehearse(scratch('soft'), { ...NIGHT, framesPerPass: half, omitPasses: [0], seeing: blurred });
}, 120_000);

/** Every second frame of the good rehearsal's lower pass, and its upper pass changed, of which as much is kept or all. */
async function changed(
  name: string,
  change: (upper: string) => Promise<void>,
  keep: 'half' | 'all' = 'half',
): Promise<string> {
  const capture = scratch(name);
  await cp(scratch('good/capture'), capture, { recursive: true });
  await change(join(capture, 'upper'));
  for (const pass of keep === 'half' ? ['lower', 'upper'] : ['lower']) {
    for (let i = 1; i < NIGHT.framesPerPass; i += 2) await rm(join(capture, pass, frame(i)));
  }
  return capture;
}

async function rewrite(file: string, change: (data: Buffer, width: number) => Buffer): Promise<void> {
  const { data, info } = await pictures(file).raw().toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  await pictures(change(data, width), { raw: { width, height, channels } }).png().toFile(file);
}

/** A code of a fifth of the light. */
const dimmed = (code: number): number => encodeSrgb8(decodeSrgb(code / 255) / 5);

const frame = (i: number): string => `frame_${String(i).padStart(4, '0')}.png`;
const kinds = async (capture: string) => {
  const { look, complete } = await checkCapture(capture);
  return { complete, kinds: look!.findings.map(({ kind, pass }) => [kind, pass]) };
};

describe('a look at a capture', { timeout: 120_000 }, () => {
  it('finds nothing wrong with a good one, and tells what is covered', async () => {
    const listed: string[] = [];
    const result = await checkCapture(await changed('half', async () => {}), {
      onListed: ({ passes }) => listed.push(...passes.map(({ name }) => name)),
    });
    expect(listed).toEqual(['lower', 'upper']);
    expect(result).toMatchObject({ complete: true, look: { findings: [], leftOut: [] }, timeLeft: null });
    const { side, sharpFrames, lit } = result.look!.coverage!;
    expect([sharpFrames.length, lit.length]).toEqual([side ** 2, side ** 2]);
    expect(sharpFrames.every((frames, i) => !lit[i] || frames > 0)).toBe(true);
    // A disc fills π/4 of its square; about half of a quarter Moon is lit.
    expect(sharpFrames.filter((frames) => frames >= 0).length / side ** 2).toBeCloseTo(Math.PI / 4, 1);
    expect(lit.filter(Boolean).length).toBeGreaterThan(0.3 * side ** 2);
  });

  it('calls no ground of a thin crescent soft of which too little shows to tell', async () => {
    const size = { discDiameterPx: 900, frameWidthPx: 640, frameHeightPx: 480 };
    await rehearse(scratch('crescent'), { seed: 5, ...size, passes: 2, phaseAngleDeg: 148, framesPerPass: 10 });
    const { complete, look } = await checkCapture(scratch('crescent/capture'));
    const { sharpFrames, lit } = look!.coverage!;
    expect(complete).toBe(true);
    expect(lit.filter(Boolean).length).toBeGreaterThan(30);
    expect(sharpFrames.every((frames, i) => !lit[i] || frames > 0)).toBe(true);
  });

  it('finds what is missing when a pass is not there, and says how much and where', async () => {
    await rehearse(scratch('gap'), { ...NIGHT, framesPerPass: 12, discDiameterPx: 760, passes: 3, omitPasses: [2] });
    const { look, complete } = await checkCapture(scratch('gap/capture'));
    expect(complete).toBe(false);
    const [part, ...more] = look!.findings;
    expect(more).toEqual([]);
    expect(part).toMatchObject({ kind: 'missing', pass: null });
    expect(part!.detail).toMatch(
      /^About \d+ % of the disc is missing (at the (top|bottom)|at the (upper|lower) (left|right)): no frame/,
    );
  });

  it('finds a clipped pass', async () => {
    const capture = await changed('clipped', async (upper) => {
      for (const name of await readdir(upper)) {
        await rewrite(join(upper, name), (data) => Buffer.from(data.map((code) => Math.min(255, 1.5 * code))));
      }
    });
    expect(await kinds(capture)).toEqual({ complete: false, kinds: [['clipped', 'upper']] });
  });

  it('finds a soft pass', async () => {
    const soften = async (upper: string): Promise<void> => {
      for (let i = 0; i < NIGHT.framesPerPass; i += 2) {
        await cp(scratch(`soft/capture/upper/${frame(i / 2)}`), join(upper, frame(i)));
      }
    };
    const capture = await changed('blurred', soften);
    expect(await kinds(capture)).toEqual({ complete: false, kinds: [['soft', 'upper']] });
  });

  it('finds a cloud, which other frames make good', async () => {
    const capture = await changed('cloud', async (upper) => {
      for (const i of [10, 12]) await rewrite(join(upper, frame(i)), (data) => Buffer.from(data.map(dimmed)));
    });
    expect(await kinds(capture)).toEqual({ complete: true, kinds: [['clouded', 'upper']] });
  });

  it('finds a bump', async () => {
    const bump = (upper: string): Promise<void> =>
      rewrite(join(upper, frame(12)), (data, width) =>
        Buffer.concat([data.subarray(3 * (12 * width + 20)), data.subarray(0, 3 * (12 * width + 20))]),
      );
    const capture = await changed('bump', bump, 'all');
    expect(await kinds(capture)).toEqual({ complete: true, kinds: [['bumped', 'upper']] });
  });

  it('says for how long the body stays high enough, where the site is known', async () => {
    const capture = await changed('placed', async () => {});
    await writeFile(join(capture, 'capture.yaml'), 'site: { latitudeDeg: 46.6, longitudeDeg: 8 }\n');
    const now = new Date('2031-03-04T20:00:00Z');
    const { timeLeft } = await checkCapture(capture, { look: false, now });
    expect(timeLeft!.altitudeDeg).toBeGreaterThan(40);
    const { untilUtc, minutes } = timeLeft!;
    expect(Date.parse(untilUtc!) - now.getTime()).toBe(60_000 * minutes!);
    const site = { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 0 };
    const seen = (at: number) => ephemeris('Moon', new Date(at), site, standardAir(0)).apparentAltitudeDeg;
    expect(seen(Date.parse(untilUtc!))).toBeLessThan(15);
    expect(seen(Date.parse(untilUtc!) - 60_000)).toBeGreaterThanOrEqual(15);
    const later = await checkCapture(capture, { look: false, now: new Date(untilUtc!) });
    expect(later.timeLeft).toMatchObject({ untilUtc: null, minutes: null });
  });
});
