// Masters: a plate of W x W px on disk (8000; give another side as the argument, such as 20000) written as 16-bit TIFF
// with its pyramid, as OpenEXR in floats and as deep-zoom tiles, each in a process of its own, beside libvips (through
// sharp), which writes the same TIFF from a flat file of the same samples.
import { execFileSync } from 'node:child_process';
import { closeSync, openSync, statSync, writeSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { createRandom } from '../packages/core/dist/compute/random.js';
import { encode16 } from '../packages/core/dist/plate/encode.js';
import { printMachine, printTable } from './machine.mjs';

const side = Number(process.argv[2] ?? 8000);
const BLOCK = 1009;
const BARS = { peakGiB: 1.5, timesLibvips: 1.5 };

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-masters-'));
let missed = 0;
try {
  const [plate, flat] = [join(scratch, 'plate.f32'), join(scratch, 'flat.u16')];
  makeRasters(plate, flat);
  const run = (job, input, name) => {
    const child = fileURLToPath(new URL('masters-child.mjs', import.meta.url));
    const text = execFileSync(process.execPath, [child, job, input, String(side), join(scratch, name)]);
    return { ...JSON.parse(text), bytes: statSync(join(scratch, name)).size };
  };
  // One after the other, twice, the better of each: so both meet the same machine.
  const better = (job, input, name) => {
    const [a, b] = [run(job, input, `1-${name}`), run(job, input, `2-${name}`)];
    return { ...(a.wallS < b.wallS ? a : b), peakMiB: Math.max(a.peakMiB, b.peakMiB) };
  };
  const libvips = better('libvips', flat, 'libvips.tif');
  const tiff = better('tiff', plate, 'plate.tif');
  const exr = run('exr', plate, 'plate.exr');
  const zoom = run('zoom', plate, 'plate.dzi');
  const rows = Object.entries({ 'libvips, TIFF': libvips, TIFF: tiff, 'OpenEXR, float': exr, 'deep zoom': zoom });
  printTable(
    ['output', 'wall s', 'CPU s', 'peak MiB', 'MB'],
    rows.map(([name, r]) => [name, r.wallS.toFixed(1), r.cpuS.toFixed(1), Math.round(r.peakMiB), megabytes(r)]),
  );
  judge('time of the TIFF against libvips', tiff.wallS / libvips.wallS, BARS.timesLibvips);
  judge('peak memory, GiB', Math.max(tiff.peakMiB, exr.peakMiB, zoom.peakMiB) / 1024, BARS.peakGiB);
} finally {
  await rm(scratch, { recursive: true, force: true });
}
console.log(`${missed} figures miss their bar`);
process.exitCode = missed === 0 ? 0 : 1;

function megabytes({ bytes }) {
  return bytes > 1e5 ? Math.round(bytes / 1e6) : '';
}

function judge(what, value, most) {
  const isReached = value <= most;
  if (!isReached) missed++;
  console.log(`${what}: ${value.toFixed(2)} (<= ${most})${isReached ? '' : '  MISSES'}`);
}

/** A shaded disc with ground and noise on dark sky: floats as a stitch leaves them, and the same as flat 16-bit RGBA. */
function makeRasters(plate, flat) {
  const random = createRandom('bench/masters');
  const noise = Float32Array.from({ length: BLOCK * BLOCK }, () => 0.002 * random.normal());
  const [floats, codes] = [openSync(plate, 'w'), openSync(flat, 'w')];
  const planes = Array.from({ length: 4 }, () => new Float32Array(side));
  const row = new Uint16Array(4 * side);
  const radius = 0.45 * side;
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const [u, v] = [(x - side / 2) / radius, (y - side / 2) / radius];
      const grain = noise[(y % BLOCK) * BLOCK + (x % BLOCK)];
      const height = Math.sin(x / 37 + Math.sin(y / 51)) * Math.sin(y / 43 + Math.sin(x / 29));
      const lit = u * u + v * v < 1 ? Math.max(0.004, (0.35 + 0.3 * u) * (1 + 0.2 * height)) : 0.004;
      for (let c = 0; c < 3; c++) planes[c][x] = lit * (1 + 0.03 * (c - 1)) + grain * (1 + 0.1 * c);
    }
    planes[3].fill(1);
    planes.forEach((plane, k) => {
      writeSync(floats, plane, 0, 4 * side, 4 * (k * side + y) * side);
      if (k < 3) encode16('srgb', row, k, 4, plane, 0, side, { low: 0, high: 0 });
      else for (let x = 0; x < side; x++) row[4 * x + 3] = 65535;
    });
    writeSync(codes, row, 0, 8 * side, 8 * side * y);
  }
  closeSync(floats);
  closeSync(codes);
}
