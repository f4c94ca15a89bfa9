import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, stat, truncate } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { runJob } from '../job/context.js';
import { layoutOf, planeSize } from './clip-layout.js';
import { clipStage, type DecodedPicture } from './clip-stage.js';
import { rowReader } from './clip-window.js';
import type { ClipPass } from './pass.js';
import { scanCapture } from './scan.js';

const scratch = useScratch();
const PICTURES = 3;
const SIZE = '37x22';

function ffmpeg(...args: readonly string[]): void {
  execFileSync('ffmpeg', ['-y', '-v', 'error', ...args], { stdio: 'ignore' });
}

/** A clip of moving shapes whose rows do not end where words do. */
async function clipOf(name: string, pixels: string): Promise<string> {
  const folder = scratch(`${name}-${pixels}`);
  await mkdir(folder);
  const path = join(folder, name);
  const source = ['-f', 'lavfi', '-i', `testsrc2=s=${SIZE}:r=24,noise=alls=9:allf=t`, '-frames:v', String(PICTURES)];
  ffmpeg(...source, '-pix_fmt', pixels, '-c:v', 'rawvideo', path);
  return folder;
}

async function picturesOf(folder: string): Promise<{ pictures: DecodedPicture[]; workDir: string }> {
  const { passes } = await scanCapture(folder);
  const pass = passes[0] as ClipPass;
  const workDir = `${folder}-work`;
  const hashes = new Map(pass.frames.map(({ item }) => [item, 'a hash']));
  const pictures = await runJob({ workDir, workers: 1 }, (context) => clipStage(context, pass, hashes));
  return { pictures, workDir };
}

/** Codes of a picture as they are read, a few rows at a time. */
function codesOf(picture: DecodedPicture): Buffer {
  if ('fault' in picture) throw new Error(picture.fault);
  const { facts } = picture;
  const layout = layoutOf(facts.pixelFormat)!;
  const read = rowReader(picture, layout, 0);
  const planes = layout.planes.map(({ down }, p) => {
    const [samples, rows] = planeSize(layout, p, facts.widthPx, facts.heightPx);
    const plane = Array.from({ length: rows }, (_, row) => {
      const { codes, top } = read(row * down, 1)[p]!;
      const bytes = Buffer.from(codes.slice((row - top) * samples, (row - top + 1) * samples).buffer);
      return layout.bigEndian ? bytes.swap16() : bytes;
    });
    return Buffer.concat(plane);
  });
  return Buffer.concat(planes);
}

describe('clips that keep codes as they are', () => {
  it.each([
    ['a.avi', 'yuv420p', true],
    ['a.avi', 'bgr24', true],
    ['a.avi', 'uyvy422', true],
    ['a.mov', 'uyvy422', true],
    ['a.mov', 'rgb24', true],
    ['a.mov', 'rgb48be', true],
    ['a.mkv', 'yuv420p', false],
  ])('reads from %s in %s what FFmpeg decodes', async (name, pixels, isThere) => {
    const folder = await clipOf(name, pixels);
    const path = join(folder, name);
    ffmpeg('-i', path, '-f', 'rawvideo', '-pix_fmt', pixels, scratch('decoded.raw'));
    const decoded = await readFile(scratch('decoded.raw'));
    const { pictures } = await picturesOf(folder);
    expect(pictures).toHaveLength(PICTURES);
    expect(pictures.every((picture) => 'codes' in picture && (picture.codes === path) === isThere)).toBe(true);
    expect(Buffer.concat(pictures.map(codesOf)).equals(decoded)).toBe(true);
    expect(new Set(pictures.map((picture) => codesOf(picture).toString('base64'))).size).toBe(PICTURES);
  });

  it('takes no disk for them', async () => {
    const { pictures, workDir } = await picturesOf(await clipOf('plain.avi', 'bgr24'));
    expect(pictures.map((picture) => 'codes' in picture && picture.codes)).toEqual(
      Array.from({ length: PICTURES }, () => join(scratch('plain.avi-bgr24'), 'plain.avi')),
    );
    expect(existsSync(workDir) ? (await readdir(workDir)).filter((name) => name.includes('clip')) : []).toEqual([]);
  });

  it('leaves out the picture in which a clip is cut off', async () => {
    const folder = await clipOf('cut.avi', 'yuv420p');
    const path = join(folder, 'cut.avi');
    const first = (await picturesOf(folder)).pictures[2]!;
    if (!('at' in first)) throw new Error(first.fault);
    await truncate(path, first.at + 100);
    const { pictures } = await picturesOf(folder);
    expect(pictures.slice(0, 2).every((picture) => 'codes' in picture && picture.codes === path)).toBe(true);
    expect((await stat(path)).size).toBe(first.at + 100);
    for (const picture of pictures.slice(2)) expect(picture).toMatchObject({ fault: /cut short/ });
  });
});
