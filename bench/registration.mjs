// registerPair beside the Cramér–Rao bound and three common methods, on the same seeded pairs with known poses.
// pnpm bench registration [--row NAME] [--trials N] [--refusals N] [--no-timing] [--no-python]
// NAME is that of a row, or refusals, or timing.
// The other methods run from Debian's python3-skimage and python3-opencv; where they are missing, their columns say so.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { registerPair } from '../packages/core/dist/registration/pair.js';
import { printMachine, printTable } from './machine.mjs';
import { boundOf, drawPair, drawStrangers, ROWS, timingPairs } from './registration-pairs.mjs';

const { values } = parseArgs({
  options: {
    row: { type: 'string' },
    trials: { type: 'string', default: '200' },
    refusals: { type: 'string', default: '1000' },
    'no-timing': { type: 'boolean', default: false },
    'no-python': { type: 'boolean', default: false },
  },
});
const trials = Number(values.trials);
const METHODS = ['skimage', 'phase', 'ecc'];
const GROSS_PX = 1;
const ANY = { freedom: 'similarity', rotationDeg: 'any', scaleRange: 3 };

printMachine();
const scratch = mkdtempSync(join(tmpdir(), 'plenilune-registration-'));
let failed = false;
try {
  console.log(`Python: ${python({ versions: true }).versions ?? 'not available, its columns stay empty'}\n`);
  const rows = ROWS.filter((row) => !values.row || row.name === values.row);
  if (rows.length > 0) {
    const scores = rows.map((row) => scoreRow(row));
    printShifts(scores);
    printTurns(scores.filter((score) => score.row.turned));
  }
  if (!values.row || values.row === 'refusals') {
    const count = Number(values.refusals);
    printRefusals(count, {}, 'pairs that show no common ground');
    printRefusals(Math.ceil(count / 4), ANY, 'of these, searched under any turn and scales of 1/3 to 3');
  }
  if (!values['no-timing'] && (!values.row || values.row === 'timing')) printTiming();
} finally {
  rmSync(scratch, { recursive: true, force: true });
}
process.exitCode = failed ? 1 : 0;

/** Runs registration.py on pairs of pictures; an empty object when Python or its packages are missing. */
function python(job) {
  if (values['no-python']) return {};
  const path = join(scratch, 'job.json');
  writeFileSync(path, JSON.stringify(job));
  try {
    const script = fileURLToPath(new URL('registration.py', import.meta.url));
    const env = { ...process.env, OMP_NUM_THREADS: '1', OPENBLAS_NUM_THREADS: '1' };
    return JSON.parse(execFileSync('/usr/bin/python3', [script, path], { encoding: 'utf8', env, maxBuffer: 2 ** 26 }));
  } catch (error) {
    return { missing: String(error.stderr ?? error.message) };
  }
}

function scoreRow(row) {
  const ours = { ms: 0, refused: 0, gross: 0, square: [0, 0], nees: 0, n: 0, angle: 0, scale: 0 };
  const bound = { shift: 0, angle: 0, scale: 0 };
  const truth = [];
  const light = [];
  for (let k = 0; k < trials; k++) {
    const pair = drawPair(row, k);
    truth.push(pair);
    light.push(pair.fixed.data, pair.moving.data);
    const started = performance.now();
    const found = registerPair(pair.fixed, pair.moving, row.options);
    ours.ms += performance.now() - started;
    const limit = boundOf(pair, row, found.placed ? found.centre : undefined);
    bound.shift += (limit[0] + limit[1]) / 2;
    bound.angle += limit[2] ?? 0;
    bound.scale += limit[3] ?? 0;
    if (!found.placed) {
      ours.refused++;
      continue;
    }
    const { x, y } = found.centre;
    const m = pair.pose;
    const error = [
      found.shiftXPx - (m.xx * x + m.xy * y + m.tx - x),
      found.shiftYPx - (m.yx * x + m.yy * y + m.ty - y),
    ];
    if (row.turned) error.push(found.rotationDeg - pair.rotationDeg, found.scale - pair.scale);
    if (Math.hypot(error[0], error[1]) > GROSS_PX) {
      ours.gross++;
      continue;
    }
    ours.n++;
    ours.square[0] += error[0] ** 2;
    ours.square[1] += error[1] ** 2;
    ours.angle += (error[2] ?? 0) ** 2;
    ours.scale += (error[3] ?? 0) ** 2;
    ours.nees += mahalanobis(error, found.covariance.matrix) / error.length;
  }
  const path = join(scratch, 'pairs.raw');
  if (!values['no-python']) writeFileSync(path, Buffer.concat(light.map((data) => Buffer.from(data.buffer))));
  const others = python({ path, side: 256, pairs: trials, warm: 1, affine: row.turned ?? false });
  const rms = (sum, n) => Math.sqrt(sum / Math.max(1, n));
  const theirs = Object.fromEntries(METHODS.map((name) => [name, scoreShifts(others[name], truth)]));
  return {
    row,
    ours: {
      ...ours,
      rms: rms(ours.square[0] + ours.square[1], 2 * ours.n),
      ms: ours.ms / trials,
      nees: ours.nees / Math.max(1, ours.n),
      angle: rms(ours.angle, ours.n),
      scale: rms(ours.scale, ours.n),
    },
    bound: { shift: rms(bound.shift, trials), angle: rms(bound.angle, trials), scale: rms(bound.scale, trials) },
    theirs,
  };
}

/** Root mean square per axis at the middle of the picture, without the gross errors, which are counted. */
function scoreShifts(found, truth) {
  if (!found) return undefined;
  let sum = 0;
  let n = 0;
  found.shifts.forEach((shift, k) => {
    const { pose: m, fixed } = truth[k];
    const c = (fixed.width - 1) / 2;
    const dx = shift && shift[0] - (m.xx * c + m.xy * c + m.tx - c);
    const dy = shift && shift[1] - (m.yx * c + m.yy * c + m.ty - c);
    if (!shift || !(Math.hypot(dx, dy) <= GROSS_PX)) return;
    sum += dx * dx + dy * dy;
    n++;
  });
  return { rms: n > 0 ? Math.sqrt(sum / (2 * n)) : Number.NaN, gross: found.shifts.length - n, ms: found.ms };
}

function mahalanobis(error, matrix) {
  const n = error.length;
  const a = Array.from({ length: n }, (_, j) => [...matrix.slice(j * n, j * n + n), error[j]]);
  for (let p = 0; p < n; p++) {
    for (let r = 0; r < n; r++) {
      if (r === p) continue;
      const f = a[r][p] / a[p][p];
      for (let c = p; c <= n; c++) a[r][c] -= f * a[p][c];
    }
  }
  return error.reduce((sum, e, j) => sum + (e * a[j][n]) / a[j][j], 0);
}

function printShifts(scores) {
  console.log(
    `Shift, rms px per axis without gross errors (over ${GROSS_PX} px or none given), ${trials} pairs of 256 x 256:`,
  );
  const cell = (s) => (s ? `${px(s.rms)} ${s.gross}! ${s.ms.toFixed(1)}ms` : '-');
  printTable(
    [
      'row',
      'bound',
      'ours',
      'gross',
      'refused',
      'ms',
      'x bound',
      'bar',
      'NEES',
      'phase cc x100',
      'phaseCorrelate',
      'ECC',
    ],
    scores.map(({ row, ours, bound, theirs }) => {
      const ratio = ours.rms / bound.shift;
      const good = ratio <= row.bar && ours.gross === 0 && ours.refused === 0 && Math.abs(ours.nees - 1) <= 0.2;
      if (!good) failed = true;
      const figures = [px(bound.shift), px(ours.rms), ours.gross, ours.refused, ours.ms.toFixed(1), ratio.toFixed(2)];
      return [
        row.name,
        ...figures,
        row.bar,
        ours.nees.toFixed(2),
        ...METHODS.map((m) => cell(theirs[m])),
        good ? '' : 'FAILS',
      ];
    }),
  );
}

function printTurns(scores) {
  if (scores.length === 0) return;
  console.log('Turn and scale:');
  printTable(
    ['row', 'turn rms deg', 'bound', 'x bound', 'scale rms', 'bound', 'x bound', 'bar'],
    scores.map(({ row, ours, bound }) => {
      const [angle, scale] = [ours.angle / bound.angle, ours.scale / bound.scale];
      if (!(angle <= row.bar && scale <= row.bar)) failed = true;
      const turn = [ours.angle.toExponential(2), bound.angle.toExponential(2), angle.toFixed(2)];
      return [row.name, ...turn, ours.scale.toExponential(2), bound.scale.toExponential(2), scale.toFixed(2), row.bar];
    }),
  );
}

function printRefusals(count, wider, title) {
  const kinds = {};
  for (let k = 0; k < count; k++) {
    const { kind, fixed, moving, options } = drawStrangers(k);
    const found = registerPair(fixed, moving, { ...options, ...wider });
    kinds[kind] ??= { pairs: 0, accepted: 0, highest: 0, reasons: {} };
    kinds[kind].pairs++;
    kinds[kind].highest = Math.max(kinds[kind].highest, found.probability);
    if (found.placed) {
      kinds[kind].accepted++;
      failed = true;
    } else kinds[kind].reasons[found.reason] = (kinds[kind].reasons[found.reason] ?? 0) + 1;
  }
  console.log(`${count} ${title}:`);
  printTable(
    ['kind', 'pairs', 'accepted', 'highest probability', 'reasons'],
    Object.entries(kinds).map(([kind, s]) => [
      kind,
      s.pairs,
      s.accepted,
      s.highest.toPrecision(3),
      Object.entries(s.reasons)
        .map(([reason, n]) => `${reason} ${n}`)
        .join(', '),
    ]),
  );
}

function printTiming() {
  const pairs = timingPairs(7);
  const side = pairs[0].fixed.width;
  const path = join(scratch, 'big.raw');
  writeFileSync(
    path,
    Buffer.concat(pairs.flatMap((p) => [p.fixed, p.moving].map(({ data }) => Buffer.from(data.buffer)))),
  );
  const others = python({ path, side, pairs: pairs.length, warm: 2, affine: false, skip: ['ecc'] });
  const times = [];
  const ours = { shifts: [] };
  for (let round = 0; round < 6; round++) {
    for (const { fixed, moving } of pairs) {
      const started = performance.now();
      const found = registerPair(fixed, moving);
      times.push(performance.now() - started);
      if (round === 0) ours.shifts.push(found.placed ? [found.shiftXPx, found.shiftYPx] : null);
    }
  }
  ours.ms = median(times.slice(2 * pairs.length));
  console.log(`${side} x ${side}, SNR 30, shift, median time per pair, one thread:`);
  const bound = Math.sqrt(
    pairs.reduce((sum, p) => sum + boundOf(p, {}).reduce((a, b) => a + b, 0) / 2, 0) / pairs.length,
  );
  printTable(
    ['method', 'ms', 'x ours', 'rms px', 'x bound'],
    [['ours', scoreShifts(ours, pairs)], ...['phase', 'skimage'].map((m) => [m, scoreShifts(others[m], pairs)])].map(
      ([name, s]) =>
        s
          ? [name, s.ms.toFixed(1), (s.ms / ours.ms).toFixed(2), px(s.rms), (s.rms / bound).toFixed(2)]
          : [name, '-', '-', '-', '-'],
    ),
  );
}

function median(list) {
  return [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
}

function px(value) {
  return Number.isFinite(value) ? value.toPrecision(3) : '-';
}
