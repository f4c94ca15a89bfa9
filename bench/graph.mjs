// Placement of many strips as a pose graph with false edges: how far the poses are from those that only the true edges
// give, which edges are named false, and whether the stated covariances are true. Synthetic graphs with known poses,
// noise drawn from the stated covariances. Arguments: how many seeds (50), the first of them (0).
import { createRandom } from '../packages/core/dist/compute/random.js';
import { solveGraph } from '../packages/core/dist/placement/graph.js';
import { graph, middle, SIZE, unitInverse } from './graph-scene.mjs';
import { printMachine, printTable } from './machine.mjs';

const seeds = Number(process.argv[2] ?? 50);
const first = Number(process.argv[3] ?? 0);
/** Bars: px beyond what the true edges alone give, and share of true edges left out. */
const WORST_BAR_PX = 0.1;
const LOST_BAR = 0.005;

/** Greatest distance at the strip's corners, px. */
function apart(a, b) {
  let most = 0;
  for (const x of [0, SIZE.widthPx - 1])
    for (const y of [0, SIZE.heightPx - 1])
      most = Math.max(
        most,
        Math.hypot(
          (a.xx - b.xx) * x + (a.xy - b.xy) * y + a.tx - b.tx,
          (a.yx - b.yx) * x + (a.yy - b.yy) * y + a.ty - b.ty,
        ),
      );
  return most;
}

/** Squared error of a strip's five numbers over their covariance. */
function nees(found, truth) {
  const linear = (p) => {
    const grow = Math.log(Math.hypot(p.xx, p.xy));
    return [Math.atan2(p.yx - p.xy, p.xx + p.yy), grow, Math.log(Math.hypot(p.yx, p.yy)) - grow];
  };
  const at = [middle(found.pose), middle(truth)];
  const parts = [linear(found.pose), linear(truth)];
  const e = [at[0].x - at[1].x, at[0].y - at[1].y, ...parts[0].map((v, k) => v - parts[1][k])];
  const sigma = [0, 1, 2, 3, 4].map((k) => Math.sqrt(found.covariance[k * 6]));
  const inverse = unitInverse(found.covariance, sigma);
  let sum = 0;
  for (let i = 0; i < 5; i++) for (let j = 0; j < 5; j++) sum += e[i] * inverse[i * 5 + j] * e[j];
  return sum;
}

const CASES = [
  ['2 × 5', 2, 5, 0.1, false],
  ['4 × 10', 4, 10, 0, false],
  ['4 × 10', 4, 10, 0.15, false],
  ['4 × 10, hard', 4, 10, 0.15, true],
  ['6 × 10', 6, 10, 0.15, false],
  ['6 × 10, hard', 6, 10, 0.15, true],
];

printMachine();
const rows = [];
let fit = true;
for (const [name, r, c, share, hard] of CASES) {
  const t = {
    strips: 0,
    edges: 0,
    wrong: 0,
    missed: 0,
    lost: 0,
    trueEdges: 0,
    unplaced: 0,
    worst: 0,
    noise: 0,
    nees: 0,
    neesOf: 0,
    ms: [],
  };
  let chi2 = 0;
  let dof = 0;
  const bad = [];
  for (let seed = first; seed < first + seeds; seed++) {
    const { truth, edges, isFalse } = graph(r, c, share, hard, createRandom(`graph ${name} ${seed}`));
    const strips = truth.map(() => SIZE);
    const started = process.cpuUsage();
    const found = solveGraph(strips, edges, { reference: 0 });
    const { user, system } = process.cpuUsage(started);
    t.ms.push((user + system) / 1000);
    const best = solveGraph(
      strips,
      edges.filter((_, k) => !isFalse[k]),
      { reference: 0 },
    );
    t.strips = truth.length;
    t.edges += edges.length;
    t.wrong += isFalse.filter(Boolean).length;
    t.trueEdges += isFalse.filter((f) => !f).length;
    const missed = found.edges.filter((v, k) => isFalse[k] && v.kept).length;
    const lost = found.edges.filter((v, k) => !isFalse[k] && !v.kept).length;
    t.missed += missed;
    t.lost += lost;
    chi2 += found.chi2;
    dof += found.degreesOfFreedom;
    let worst = 0;
    found.strips.forEach((s, k) => {
      if (!s.pose || s.group !== found.strips[0].group) {
        t.unplaced++;
        return;
      }
      worst = Math.max(worst, apart(s.pose, best.strips[k].pose));
      t.noise = Math.max(t.noise, apart(best.strips[k].pose, truth[k]));
      if (k === 0) return;
      t.nees += nees(s, truth[k]);
      t.neesOf++;
    });
    t.worst = Math.max(t.worst, worst);
    if (missed > 0 || worst > WORST_BAR_PX || found.groups[0].strips.length < truth.length) bad.push(seed);
  }
  t.ms.sort((a, b) => a - b);
  rows.push([
    name,
    t.strips,
    (t.edges / seeds).toFixed(1),
    ((100 * t.wrong) / t.edges).toFixed(1),
    t.unplaced,
    t.worst.toFixed(4),
    t.noise.toFixed(3),
    `${t.missed} of ${t.wrong}`,
    `${t.lost} of ${t.trueEdges}`,
    bad.length === 0 ? '-' : bad.join(' '),
    (chi2 / dof).toFixed(3),
    (t.nees / t.neesOf).toFixed(2),
    `${t.ms[Math.floor(t.ms.length / 2)].toFixed(0)} / ${t.ms.at(-1).toFixed(0)}`,
  ]);
  if (t.missed > 0 || t.unplaced > 0 || t.worst > WORST_BAR_PX || t.lost > LOST_BAR * t.trueEdges) fit = false;
}
console.log(
  `${seeds} seeds from ${first} each; worst error: px at a strip's corner, against the solve with only the true edges`,
);
printTable(
  [
    'graph',
    'strips',
    'edges',
    'false %',
    'not placed',
    'worst px',
    'noise px',
    'false kept',
    'true left out',
    'bad seeds',
    'χ²/ν',
    'NEES (5)',
    'CPU ms, median / most',
  ],
  rows,
);
console.log(
  `every strip placed within ${WORST_BAR_PX} px, every false edge named, true edges kept: ${fit ? 'yes' : 'no'}`,
);
process.exitCode = fit ? 0 : 1;
