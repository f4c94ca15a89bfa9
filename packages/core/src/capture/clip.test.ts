import { copyFile, mkdir, readFile, truncate, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { aviFile } from '../../test/avi-file.js';
import { useScratch } from '../../test/scratch.js';
import { runJob } from '../job/context.js';
import { clipStage } from './clip-stage.js';
import { openClipPicture } from './open-clip-picture.js';
import type { ClipPass } from './pass.js';
import { AS_FILES_SAY } from './reading.js';
import { scanCapture } from './scan.js';

const clips = fileURLToPath(new URL('../../test/clips/', import.meta.url));

const scratch = useScratch();
let made = 0;

/** A capture of the clips of these names, changed before it is looked at. */
async function captureOf(names: readonly string[], change: (folder: string) => Promise<void> = async () => {}) {
  const folder = join(scratch(`${made++}`), 'capture');
  await mkdir(folder, { recursive: true });
  for (const name of names) await copyFile(join(clips, name), join(folder, name));
  await change(folder);
  return scanCapture(folder);
}

async function decode(pass: ClipPass, workers = 2) {
  const workDir = scratch(`work-${made++}`);
  const hashes = new Map(pass.frames.map(({ item }) => [item, 'a hash']));
  const pictures = await runJob({ workDir, workers }, (context) => clipStage(context, pass, hashes));
  return pictures.map((picture) => {
    if ('fault' in picture) return picture;
    const open = openClipPicture(pass.name, picture, { ...AS_FILES_SAY, curve: 'linear' });
    const planes = Array.from({ length: open.channels }, () => new Float32Array(open.width * open.height));
    open.rows(0, planes);
    return { open, planes };
  });
}

async function planesOf(name: string) {
  const { passes } = await captureOf([name]);
  const [picture] = await decode(passes[0] as ClipPass);
  if (!picture || 'fault' in picture) throw new Error('no picture');
  return picture;
}

describe('clips', () => {
  // Half a code is what rounding to the recorded depth costs at worst; nothing may come on top.
  it.each([
    ['ffv1.mkv', 876],
    ['prores.mov', 876],
    ['hevc.mp4', 876],
    ['gbr16.mkv', 65_535],
  ])('reads a ramp recorded in %s to half a code', async (name, codes) => {
    const { open, planes } = await planesOf(name);
    let worst = 0;
    for (const plane of planes) {
      plane.forEach((v, i) => {
        worst = Math.max(worst, Math.abs(v - Math.round(((i % open.width) * 65_535) / 1919) / 65_535));
      });
    }
    expect(planes).toHaveLength(3);
    expect(worst * codes).toBeLessThanOrEqual(0.5);
    expect(new Set(planes[0]!.subarray(0, open.width)).size).toBe(Math.min(1920, codes + 1));
  });

  it.each(['numbers.mkv', 'numbers.mp4'])('gives the pictures of %s in the order of their times', async (name) => {
    const { passes } = await captureOf([name]);
    const pass = passes[0] as ClipPass;
    expect(pass).toMatchObject({ kind: 'clip', name, widthPx: 64, heightPx: 64, channels: 3 });
    expect(pass.frames.map(({ item }) => item).slice(0, 2)).toEqual([`${name}#0001`, `${name}#0002`]);
    const pictures = await decode(pass, 1);
    const levels = pictures.map((p) => ('planes' in p ? Math.round(16 + 219 * p.planes[0]![63]!) : p.fault));
    expect(levels).toEqual(Array.from({ length: 12 }, (_, i) => 20 + 10 * i));
  });

  it('reads unpacked pictures whose rows lie from the lowest up', async () => {
    const size = { width: 6, height: 4 };
    const shown = [0, 1].map((k) => ({ ...size, rgb: Uint8Array.from({ length: 72 }, (_, i) => 3 * i + 20 * k) }));
    const { passes } = await captureOf([], (folder) => writeFile(join(folder, 'plain.avi'), aviFile(shown)));
    for (const [k, picture] of (await decode(passes[0] as ClipPass)).entries()) {
      if ('fault' in picture) throw new Error(picture.fault);
      picture.planes.forEach((plane, c) => {
        expect([...plane].map((v) => Math.round(255 * v))).toEqual([...shown[k]!.rgb].filter((_, i) => i % 3 === c));
      });
    }
  });

  it.each(['numbers.mkv', 'numbers.mp4'])('uses what is left of %s when its end is lost, and says so', async (name) => {
    const whole = (await readFile(join(clips, name))).length;
    const { passes, leftOut } = await captureOf([name, 'ffv1.mkv'], (folder) =>
      truncate(join(folder, name), Math.round(whole * 0.6)),
    );
    const cut = passes.find((pass) => pass.name === name) as ClipPass | undefined;
    expect(leftOut).toMatchObject([{ item: name, reason: 'cut-short' }]);
    expect(cut!.frames.length).toBeGreaterThan(0);
    expect(cut!.frames.length).toBeLessThan(12);
    const first = (await decode(cut!))[0]!;
    expect('planes' in first && Math.round(16 + 219 * first.planes[0]![63]!)).toBe(20);
  });

  it('leaves out a clip without an index, an empty one and a text that is called a clip', async () => {
    const { passes, leftOut } = await captureOf(['hevc.mp4', 'ffv1.mkv'], async (folder) => {
      await truncate(join(folder, 'hevc.mp4'), 3000);
      await writeFile(join(folder, 'empty.mov'), '');
      await writeFile(join(folder, 'letter.mkv'), 'Dear all,\n');
      await writeFile(join(folder, 'list.mp4'), '#EXTM3U\nfile:///etc/passwd\n');
    });
    expect(passes.map(({ name }) => name)).toEqual(['ffv1.mkv']);
    expect(leftOut.map(({ item, reason }) => [item, reason])).toEqual([
      ['empty.mov', 'unreadable'],
      ['hevc.mp4', 'unreadable'],
      ['letter.mkv', 'unreadable'],
      ['list.mp4', 'unreadable'],
    ]);
  });

  it('marks pictures whose data is damaged, and keeps the others', async () => {
    const { passes } = await captureOf(['numbers.mp4'], async (folder) => {
      const bytes = await readFile(join(folder, 'numbers.mp4'));
      bytes.fill(0xa5, Math.round(bytes.length * 0.55), Math.round(bytes.length * 0.55) + 40);
      await writeFile(join(folder, 'numbers.mp4'), bytes);
    });
    const pictures = await decode(passes[0] as ClipPass);
    const faults = pictures.flatMap((picture) => ('fault' in picture ? [picture.fault] : []));
    expect(faults).toEqual(['its data is damaged: the decoder has found faults in it']);
    const levels = pictures.map((p) => ('planes' in p ? Math.round(16 + 219 * p.planes[0]![63]!) : 0));
    levels.forEach((level, i) => {
      expect([0, 20 + 10 * i]).toContain(level);
    });
  });
});
