// pnpm bench NAME: runs one of the benchmarks of this folder.
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';

const BENCHMARKS = {
  check: 'what check finds: false alarms on good rehearsals, five faults, and its time beside decoding every frame',
  clips: 'the rate at which clips are decoded, beside FFmpeg that throws its pictures away',
  graph: 'placement of up to 60 strips from overlaps of which some are false: errors, false edges, covariances, time',
  kernels: 'the WebAssembly kernels beside plain TypeScript, and the Fourier transform beside others',
  registration: 'registerPair beside the Cramér–Rao bound and three common methods, refusals and time',
  places: 'passes turned by any angle, and passes that do not overlap, placed on a guide and by their limb',
  plan: 'plans of 500 random optics and nights, rehearsed with wrong aims and checked; passes above the fewest',
  'real-pairs':
    'photographs that show the same ground, and pairs that must not be joined, against the measured relations',
  rehearsals: 'ten rehearsals, stitched and scored, with the seeing warps off and on',
  limb: 'errors of the limb fit beside the Cramér–Rao bound, and whether its covariance is true',
  track: 'drifting passes of known truth, a fifth of their frames ruined: accuracy, losses and time a frame',
  masters: 'a 16-bit TIFF with its pyramid, OpenEXR and deep-zoom tiles of 8000 px square: time beside libvips, memory',
  size: 'time, memory and disk of a stitch, and how they grow with frames and pixels; 6k and 16k on request',
  where: 'where rehearsed and rendered plates lie on the Moon, beside the truth: disc, north, named features',
  stitch: 'five captures beside the plates that known poses give, scored by the independent scorer; stage times',
};
const [name, ...rest] = process.argv.slice(2);
if (!(name in BENCHMARKS)) {
  console.error('usage: pnpm bench NAME, one of');
  for (const [key, what] of Object.entries(BENCHMARKS)) console.error(`  ${key.padEnd(14)}${what}`);
  process.exit(2);
}
const { status } = spawnSync(process.execPath, [fileURLToPath(new URL(`${name}.mjs`, import.meta.url)), ...rest], {
  stdio: 'inherit',
});
process.exit(status ?? 1);
