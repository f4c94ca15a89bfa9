import { execFileSync } from 'node:child_process';
import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { pictures } from '../src/capture/picture-library.js';
import { rehearse, stitch } from '../src/index.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();

it('makes the same plate, to the bit, of a clip that shows two views and of a clip for each', async () => {
  const dir = scratch('rehearsed');
  const size = { discDiameterPx: 320, frameWidthPx: 270, frameHeightPx: 210 };
  await rehearse(dir, { seed: 31, ...size, passes: 2, framesPerPass: 8, bits: 16, format: 'png' });
  const [apart, together] = [scratch('apart'), scratch('together')];
  await mkdir(apart);
  await mkdir(together);
  const clips = ['lower', 'upper'].map((name) => {
    const clip = join(apart, `${name}.mkv`);
    const stills = join(dir, 'capture', name, 'frame_%04d.png');
    ffmpeg('-framerate', '24', '-i', stills, '-pix_fmt', 'gbrp16le', '-c:v', 'ffv1', clip);
    return clip;
  });
  await writeFile(scratch('list.txt'), clips.map((path) => `file '${path}'\n`).join(''));
  ffmpeg('-f', 'concat', '-safe', '0', '-i', scratch('list.txt'), '-c', 'copy', join(together, 'both.mkv'));

  const plates = [];
  for (const capture of [apart, together]) {
    const { platePath, complete } = await stitch(capture, { outDir: `${capture}-plate`, workers: 2 });
    expect(complete).toBe(true);
    plates.push(await pictures(platePath).raw({ depth: 'ushort' }).toBuffer());
  }
  expect(plates[1]!.equals(plates[0]!)).toBe(true);
});

function ffmpeg(...words: string[]): void {
  execFileSync('ffmpeg', ['-v', 'error', ...words]);
}
