// open_halves, stitched, beside the plate that perfect knowledge of poses, gains, sky and flat field gives from the same
// frames (../shared/tools/known_poses.py --keep 1.0). Both are scored by ../shared/tools/score.py, which knows neither.
// Arguments: --rehearsal N takes rehearsal N of rehearsals.mjs, from 0, in place of open_halves.
// Needs Debian's python3-numpy, python3-scipy, python3-skimage, python3-opencv and python3-tifffile.
import { execFileSync } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { rehearse, stitch } from '../packages/core/dist/index.js';
import { printMachine, printTable } from './machine.mjs';
import { CASES } from './rehearsal-cases.mjs';

const GEOMETRY_BAR = 1.3;
const BRIGHTNESS_BAR = 2;
const shared = fileURLToPath(new URL('../../shared', import.meta.url));
const python = (tool, ...args) =>
  execFileSync('/usr/bin/python3', [join(shared, 'tools', tool), ...args], { encoding: 'utf8' });
const seconds = (since) => ((performance.now() - since) / 1000).toFixed(1);

printMachine();
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
const wanted = process.argv.indexOf('--rehearsal');
const truth = wanted < 0 ? join(shared, 'real', 'captures', 'open_halves') : join(scratch, 'rehearsal');
try {
  if (wanted >= 0) await rehearse(truth, CASES[Number(process.argv[wanted + 1])]);
  const yardstick = join(scratch, 'yardstick.tif');
  let started = performance.now();
  python('known_poses.py', truth, yardstick, '--keep', '1.0');
  const yardstickS = seconds(started);
  started = performance.now();
  const { platePath, complete } = await stitch(join(truth, 'capture'), { outDir: join(scratch, 'plate') });
  const stitchS = seconds(started);
  const [known, ours] = [yardstick, platePath].map((plate) => JSON.parse(python('score.py', plate, truth)));
  const row = (name, s, time) => [
    name,
    s.covered,
    s.geom_rms_px,
    s.geom_p95_px,
    s.lowfreq_log_ratio_std,
    s.seam_grad_p999,
    s.transfer.join(' '),
    s.coherence.join(' '),
    time,
  ];
  const header = ['plate', 'covered', 'geom rms px', 'p95', 'brightness', 'seam', 'transfer', 'coherence', 'wall s'];
  printTable(header, [row('known poses', known, yardstickS), row('stitch', ours, stitchS)]);
  const geometry = ours.geom_rms_px / known.geom_rms_px;
  const brightness = ours.lowfreq_log_ratio_std / known.lowfreq_log_ratio_std;
  console.log(
    `geometry ${geometry.toFixed(2)} x the yardstick (bar ${GEOMETRY_BAR}), brightness ${brightness.toFixed(2)} x (bar ${BRIGHTNESS_BAR})`,
  );
  process.exitCode = complete && geometry <= GEOMETRY_BAR && brightness <= BRIGHTNESS_BAR ? 0 : 1;
} finally {
  await rm(scratch, { recursive: true, force: true });
}
