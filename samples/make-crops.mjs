// Makes samples/crops.jpg: the same ground in the sharpest single frame, in its pass's strip and in the plate, at 100 % and,
// below, at 300 %. Takes the rehearsal that `npm run first-plate` has left. Run it from the root: node samples/make-crops.mjs
import { mkdtemp, rm } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { openStill } from '../packages/core/dist/capture/open-still.js';
import { scanCapture } from '../packages/core/dist/capture/scan.js';
import { applyX, applyY, invert } from '../packages/core/dist/compute/affine.js';
import { runJob } from '../packages/core/dist/job/context.js';
import { encodeSrgb8 } from '../packages/core/dist/plate/encode.js';
import { makePlate } from '../packages/core/dist/plate/make-plate.js';
import { plateOnDisk } from '../packages/core/dist/plate/plate-source.js';
import { readStrip } from '../packages/core/dist/strip/strip-store.js';

const sharp = createRequire(new URL('../packages/core/package.json', import.meta.url))('sharp');
const SIDE = 330;
/** Where the crops are taken, share of the plate's width and height. */
const PLACE = [0.38, 0.36];

const workDir = await mkdtemp(join(tmpdir(), 'plenilune-crops-'));
try {
  await runJob({ workDir }, async (context) => {
    const made = await makePlate(context, await scanCapture('out/rehearsal/capture'), 'auto');
    const { blended, placed, strips, light } = made;
    const [x, y] = [Math.round(PLACE[0] * blended.widthPx), Math.round(PLACE[1] * blended.heightPx)];
    const half = SIDE >> 1;
    const window = { x0: x - half, y0: y - half, width: SIDE, height: SIDE };
    const plate = plateOnDisk(blended.raster).read(window).image.planes;
    const onStrips = { ...window, x0: window.x0 + blended.x0, y0: window.y0 + blended.y0 };
    const windows = strips.map((s) => readStrip(s.strip, onStrips));
    const s = windows.findIndex((w) => w.weight.every((v) => v > 0));
    const { frames, graded } = placed[s].tracked;
    let best;
    for (const [k, frame] of frames.entries()) {
      const back = invert(strips[s].poses[k]);
      const [fx, fy] = [applyX(back, x + blended.x0, y + blended.y0), applyY(back, x + blended.x0, y + blended.y0)];
      const inside = Math.min(fx, fy, graded.pass.widthPx - fx, graded.pass.heightPx - fy) > half + 2;
      if (inside && !(best?.frame.sharpness > frame.sharpness))
        best = { frame, k, fx: Math.round(fx), fy: Math.round(fy) };
    }
    const { frame, k, fx, fy } = best;
    const still = await openStill(frame.path);
    const whole = Array.from({ length: still.channels }, () => new Float32Array(still.width * still.height));
    still.rows(0, whole);
    const { gain, sky } = light.corrections[s][k];
    const single = whole.map((plane, c) =>
      Float32Array.from({ length: SIDE * SIDE }, (_, i) => {
        const at = (fy - half + Math.floor(i / SIDE)) * still.width + fx - half + (i % SIDE);
        return (plane[at] - sky[c]) / gain[c];
      }),
    );
    const pictures = await Promise.all([single, windows[s].planes, plate].map(encoded));
    await compose(pictures);
  });
} finally {
  await rm(workDir, { recursive: true, force: true });
}

function encoded(planes) {
  const bright = [...planes[1]].sort((a, b) => a - b)[Math.floor(0.995 * planes[1].length)];
  const pixels = Buffer.alloc(3 * SIDE * SIDE);
  for (let i = 0; i < SIDE * SIDE; i++) {
    for (let c = 0; c < 3; c++) pixels[3 * i + c] = encodeSrgb8(((planes[c] ?? planes[0])[i] / bright) * 0.8);
  }
  return sharp(pixels, { raw: { width: SIDE, height: SIDE, channels: 3 } })
    .png()
    .toBuffer();
}

async function compose(pictures) {
  const step = SIDE + 6;
  const close = { left: SIDE / 3, top: SIDE / 3, width: SIDE / 3, height: SIDE / 3 };
  const parts = [];
  for (const [column, input] of pictures.entries()) {
    parts.push({ input, left: column * step, top: 0 });
    const large = await sharp(input).extract(close).resize(SIDE, SIDE, { kernel: 'cubic' }).png().toBuffer();
    parts.push({ input: large, left: column * step, top: step });
  }
  const [width, height] = [3 * step - 6, 2 * step - 6];
  await sharp({ create: { width, height, channels: 3, background: '#777' } })
    .composite(parts)
    .jpeg({ quality: 90, chromaSubsampling: '4:4:4' })
    .toFile('samples/crops.jpg');
}
