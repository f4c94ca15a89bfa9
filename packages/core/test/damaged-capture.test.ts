import { execFile } from 'node:child_process';
import { chmod, copyFile, mkdir, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { beforeAll, expect, test } from 'vitest';
import { pictures } from '../src/capture/picture-library.js';
import { aviFile } from './avi-file.js';
import { useScratch } from './scratch.js';
import { tiffFile } from './tiff-file.js';

const scratch = useScratch();
const bin = fileURLToPath(new URL('../../cli/bin/plenilune.js', import.meta.url));
const run = promisify(execFile);

/** Runs the built command as a user does, to whom file permissions apply: the system's administrator gives up passing over them. */
async function plenilune(args: readonly string[]): Promise<{ code: number; stdout: string; stderr: string }> {
  const ordinary = process.getuid?.() === 0 ? ['setpriv', '--bounding-set=-all', '--inh-caps=-all'] : [];
  const [command, ...rest] = [...ordinary, process.execPath, bin, ...args];
  return run(command!, rest).then(
    (done) => ({ ...done, code: 0 }),
    (failed: { code: number; stdout: string; stderr: string }) => failed,
  );
}

const FRAMES = 10;
const nameOf = (i: number): string => `frame_${String(i).padStart(4, '0')}.png`;

const SIZE = { width: 480, height: 320, channels: 3 } as const;

function eightBits(path: string): Promise<Buffer> {
  return pictures(path).toColourspace('srgb').removeAlpha().raw().toBuffer();
}

/** Turns a rehearsal of three passes into a capture in which much is wrong. */
beforeAll(async () => {
  const options = `--passes 3 --bits 16 --disc 620 --frame 480x320 --frames-per-pass ${FRAMES} --quiet`.split(' ');
  expect(await plenilune(['rehearse', scratch('night'), ...options])).toMatchObject({ code: 0 });
  const capture = (...path: string[]): string => join(scratch('night'), 'capture', ...path);
  const [low, high] = [capture('lower'), capture('upper')];

  // The pass in the middle is a clip that was cut within its eighth picture.
  const shown = await Promise.all(
    Array.from({ length: FRAMES }, async (_, i) => {
      const rgb = await eightBits(capture('middle', nameOf(i)));
      return { width: SIZE.width, height: SIZE.height, rgb };
    }),
  );
  const clip = aviFile(shown);
  await writeFile(capture('middle.avi'), clip.subarray(0, Math.round(0.75 * clip.length)));
  await rm(capture('middle'), { recursive: true });

  await writeFile(join(low, nameOf(2)), '');
  await pictures(await readFile(join(low, nameOf(4))))
    .resize(240, 160)
    .toColourspace('rgb16')
    .png()
    .toFile(join(low, nameOf(4)));
  await copyFile(join(low, nameOf(6)), join(low, 'frame_0006 copy.png'));
  await writeFile(join(low, 'notes.tif'), 'clear until ten, then haze\n');
  await pictures(await eightBits(join(high, nameOf(3))), { raw: SIZE })
    .png()
    .toFile(join(high, nameOf(3)));
  await writeFile(join(high, 'zz.tif'), announcing(20_000, 18_000));
  await mkdir(capture('one more'));
  await writeFile(capture('one more', '1.tif'), announcing(20_000, 18_000));
  await writeFile(capture('one more', '2.tif'), announcing(60_000, 12_000));
  await mkdir(capture('private'));
  await rename(join(high, nameOf(9)), capture('private', '1.png'));
  await chmod(capture('private'), 0);
});

/** A TIFF of a few bytes whose header announces pixels of 6 bytes each. */
function announcing(width: number, height: number): Buffer {
  const samples = new Uint8Array(64);
  const tags = [{ tag: 279, type: 'long', values: [Math.min(6 * width * height, 2 ** 32 - 1)] } as const];
  return tiffFile({ width, height, samples, bits: 16, perPixel: 3, tags });
}

test('a capture in which much is wrong gives a plate of the rest, and every loss is listed', async () => {
  const capture = join(scratch('night'), 'capture');
  const before = await listing(capture);
  const out = scratch('plate');
  const { code, stdout, stderr } = await plenilune(['stitch', capture, '--out', out, '--json', '--quiet']);
  expect(stderr).toBe('');
  const result = JSON.parse(stdout);
  expect(code).toBe(0);
  expect(result.passes).toEqual([
    { name: 'lower', placed: true, placedBy: 'overlap', used: 8, of: 8 },
    { name: 'middle.avi', placed: true, placedBy: 'overlap', used: 7, of: 8 },
    { name: 'upper', placed: true, placedBy: 'overlap', used: 9, of: 9 },
  ]);
  const losses = Object.fromEntries(result.leftOut.map(({ item, reason }: Record<string, string>) => [item, reason]));
  expect(losses).toEqual({
    private: 'unreadable',
    'lower/frame_0002.png': 'unreadable',
    'lower/frame_0004.png': 'odd-size',
    'lower/frame_0006.png': 'same-file',
    'lower/notes.tif': 'unreadable',
    'middle.avi': 'cut-short',
    'middle.avi#0008': 'unreadable',
    'upper/zz.tif': 'unreadable',
    'one more': 'no-usable-frame',
    'one more/1.tif': 'unreadable',
    'one more/2.tif': 'unreadable',
  });
  for (const { detail } of result.leftOut) expect(detail).toMatch(/^\S.*\S$/s);
  expect(result.notices).toMatchObject([{ item: 'upper/frame_0003.png', reason: 'odd-depth' }]);
  const sidecar = JSON.parse(await readFile(join(out, 'plate.json'), 'utf8'));
  expect(sidecar.leftOut.map(({ item }: { item: string }) => item).sort()).toEqual(Object.keys(losses).sort());
  expect(await listing(capture)).toEqual(before);
}, 120_000);

/** What lies in a folder, in bytes. */
async function listing(folder: string): Promise<string[]> {
  const { stdout } = await run('find', [folder, '-path', '*/private/*', '-prune', '-o', '-printf', '%p %s %T@\n']);
  expect(await readdir(folder)).toContain('private');
  return stdout.split('\n').sort();
}
