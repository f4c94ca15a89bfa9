// Writes one output from a raster in a process of its own, and says what it took. Arguments: job, raster, side, output.
import { createReadStream, readFileSync, statSync } from 'node:fs';
import { createRequire } from 'node:module';
import { writePlateExr } from '../packages/core/dist/plate/exr.js';
import { plateOnDisk } from '../packages/core/dist/plate/plate-source.js';
import { writePlateTiff } from '../packages/core/dist/plate/tiff.js';
import { writeZoomTiles } from '../packages/core/dist/plate/zoom-tiles.js';

const [job, path, side, output] = process.argv.slice(2);
const size = Number(side);
const source = plateOnDisk({ path, width: size, height: size, planes: 4 });

const JOBS = {
  tiff: () => writePlateTiff(output, source),
  exr: () => writePlateExr(output, source, { samples: 'float' }),
  zoom: () => writeZoomTiles(output, source),
  libvips: async () => {
    const sharp = createRequire(new URL('../packages/core/package.json', import.meta.url))('sharp');
    sharp.concurrency(0);
    sharp.cache(false);
    const raw = { width: size, height: size, channels: 4, depth: 'ushort' };
    const tile = { compression: 'deflate', predictor: 'horizontal', tile: true, tileWidth: 256, tileHeight: 256 };
    await sharp(await flat(path), { raw, limitInputPixels: false })
      .toColourspace('rgb16')
      .tiff({ ...tile, pyramid: true, bigtiff: size > 12000 })
      .toFile(output);
  },
};

/** The flat file in memory, which is how sharp takes raw samples. */
async function flat(file) {
  const { size: bytes } = statSync(file);
  if (bytes < 2 ** 31) return new Uint16Array(readFileSync(file).buffer);
  const samples = new Uint16Array(bytes / 2);
  const whole = new Uint8Array(samples.buffer);
  let at = 0;
  for await (const block of createReadStream(file, { highWaterMark: 1 << 24 })) {
    whole.set(block, at);
    at += block.length;
  }
  return samples;
}

const started = performance.now();
await JOBS[job]();
const wallS = (performance.now() - started) / 1000;
const { maxRSS, userCPUTime, systemCPUTime } = process.resourceUsage();
const cpuS = (userCPUTime + systemCPUTime) / 1e6;
process.stdout.write(JSON.stringify({ wallS, cpuS, peakMiB: maxRSS / 1024 }));
