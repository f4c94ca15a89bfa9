// Synthetic placement graphs with known poses: strips of a grid in random order, and overlaps of which some are false.
import { compose, IDENTITY, invert, poseAbout } from '../packages/core/dist/compute/affine.js';
import { invertSymmetric } from '../packages/core/dist/compute/small-solve.js';

/** Size of every strip, px. */
export const SIZE = { widthPx: 1000, heightPx: 700 };
const STEP = { x: 750, y: 525 };
const CENTRE = { x: (SIZE.widthPx - 1) / 2, y: (SIZE.heightPx - 1) / 2 };
const SCALE_SIGMA = 1e-4;
const SQUEEZE_SIGMA = 8e-4;

/** Poses of rows × columns strips in random order, turned up to 3°; strip 0 lies where the common space is. */
function scene(rows, columns, random) {
  const cells = Array.from({ length: rows * columns }, (_, k) => k);
  for (let k = cells.length - 1; k > 0; k--) {
    const other = Math.floor(random.uniform() * (k + 1));
    [cells[k], cells[other]] = [cells[other], cells[k]];
  }
  const place = (k) => ({ x: (cells[k] % columns) * STEP.x, y: Math.floor(cells[k] / columns) * STEP.y });
  const origin = place(0);
  return cells.map((_, k) =>
    poseAbout(CENTRE, {
      shiftX: place(k).x - origin.x + (k === 0 ? 0 : 40 * (random.uniform() - 0.5)),
      shiftY: place(k).y - origin.y + (k === 0 ? 0 : 40 * (random.uniform() - 0.5)),
      rotationDeg: k === 0 ? 0 : 6 * (random.uniform() - 0.5),
      scale: Math.exp(SCALE_SIGMA * random.normal()),
      squeeze: Math.exp(SQUEEZE_SIGMA * random.normal()),
    }),
  );
}

/** Where the middle of a strip lies in the common space. */
export const middle = (pose) => ({
  x: pose.xx * CENTRE.x + pose.xy * CENTRE.y + pose.tx,
  y: pose.yx * CENTRE.x + pose.yy * CENTRE.y + pose.ty,
});

/** An edge with noise drawn from its covariance; `wrong` displaces the moving strip in the common space. */
function measure(truth, fixed, moving, random, { wrong = IDENTITY, sharp = 1, probability }) {
  const relative = compose(invert(truth[fixed]), compose(wrong, truth[moving]));
  const a = middle(truth[fixed]);
  const b = middle(truth[moving]);
  const halfWidthPx = Math.max(60, (SIZE.widthPx - Math.abs(a.x - b.x)) / 2);
  const halfHeightPx = Math.max(60, (SIZE.heightPx - Math.abs(a.y - b.y)) / 2);
  const toMoving = invert(truth[moving]);
  const at = {
    x: toMoving.xx * ((a.x + b.x) / 2) + toMoving.xy * ((a.y + b.y) / 2) + toMoving.tx,
    y: toMoving.yx * ((a.x + b.x) / 2) + toMoving.yy * ((a.y + b.y) / 2) + toMoving.ty,
  };
  // Twelve independent patches over the overlap would give these spreads.
  const patchPx = (0.05 + 0.15 * random.uniform()) / sharp;
  const lever = Math.hypot(halfWidthPx, halfHeightPx) / Math.sqrt(3);
  const sigma = [patchPx, patchPx, patchPx / lever, patchPx / lever, (1.5 * patchPx * Math.sqrt(3)) / halfHeightPx].map(
    (s) => s / Math.sqrt(12),
  );
  // Lower factor of a covariance with some correlation.
  const factor = new Float64Array(25);
  for (let i = 0; i < 5; i++)
    for (let j = 0; j <= i; j++) factor[i * 5 + j] = i === j ? sigma[i] : 0.3 * sigma[i] * (random.uniform() - 0.5);
  const covariance = new Float64Array(25);
  for (let i = 0; i < 5; i++)
    for (let j = 0; j < 5; j++)
      for (let k = 0; k < 5; k++) covariance[i * 5 + j] += factor[i * 5 + k] * factor[j * 5 + k];
  const drawn = Array.from({ length: 5 }, () => random.normal());
  const error = sigma.map((_, i) => drawn.reduce((sum, d, k) => sum + factor[i * 5 + k] * d, 0));
  const seen = {
    x: relative.xx * at.x + relative.xy * at.y + relative.tx,
    y: relative.yx * at.x + relative.yy * at.y + relative.ty,
  };
  const noise = poseAbout(seen, {
    shiftX: error[0],
    shiftY: error[1],
    rotationDeg: (error[2] * 180) / Math.PI,
    scale: Math.exp(error[3]),
    squeeze: Math.exp(error[4]),
  });
  const information = unitInverse(covariance, sigma);
  return { fixed, moving, pose: compose(noise, relative), at, halfWidthPx, halfHeightPx, information, probability };
}

/** Inverse of a covariance, given the spreads that make it well conditioned. */
export function unitInverse(matrix, sigma) {
  const unit = (k) => sigma[Math.floor(k / 5)] * sigma[k % 5];
  return invertSymmetric(
    matrix.map((v, k) => v / unit(k)),
    5,
  ).map((v, k) => v / unit(k));
}

/** 2 to 300 px in any direction, half of them turned as well. */
function displacement(about, random) {
  const px = 2 * 150 ** random.uniform();
  const angle = 2 * Math.PI * random.uniform();
  const rotationDeg = random.uniform() < 0.5 ? 0 : random.normal();
  return poseAbout(about, { shiftX: px * Math.cos(angle), shiftY: px * Math.sin(angle), rotationDeg });
}

/**
 * A graph of which `share` of the edges is false. In the hard one the false edges look better than the true ones, and
 * up to three of one strip agree on one displacement, as repeated ground makes them (fewer than its true edges).
 */
export function graph(rows, columns, share, hard, random) {
  for (;;) {
    const truth = scene(rows, columns, random);
    const pairs = [];
    for (let i = 0; i < truth.length; i++)
      for (let j = i + 1; j < truth.length; j++) {
        const [a, b] = [middle(truth[i]), middle(truth[j])];
        if (Math.abs(a.x - b.x) < SIZE.widthPx - 120 && Math.abs(a.y - b.y) < SIZE.heightPx - 120)
          pairs.push(random.uniform() < 0.5 ? [i, j] : [j, i]);
      }
    const wrong = new Map();
    const repeated = [];
    const wanted = Math.round(share * pairs.length);
    while (hard && wrong.size < wanted * 0.6) {
      const s = Math.floor(random.uniform() * truth.length);
      const own = pairs.flatMap((p, k) => (p.includes(s) && !wrong.has(k) ? [k] : []));
      const count = Math.min(2 + Math.floor(2 * random.uniform()), wanted - wrong.size, Math.ceil(own.length / 2) - 1);
      if (count < 2 && random.uniform() < 0.9) continue;
      const moved = displacement(middle(truth[s]), random);
      const either = [moved, invert(moved)];
      repeated.push({ s, count, moved: either });
      for (let c = 0; c < count; c++) {
        const k = own.splice(Math.floor(random.uniform() * own.length), 1)[0];
        wrong.set(k, pairs[k][1] === s ? either[0] : either[1]);
      }
    }
    const extra = [];
    while (wrong.size + extra.length < wanted) {
      if (random.uniform() < 0.3) {
        const [i, j] = [0, 0].map(() => Math.floor(random.uniform() * truth.length));
        if (i !== j && !pairs.some((p) => p.includes(i) && p.includes(j))) extra.push([i, j]);
      } else {
        const k = Math.floor(random.uniform() * pairs.length);
        if (!wrong.has(k)) wrong.set(k, displacement(middle(truth[pairs[k][1]]), random));
      }
    }
    if (
      !wellJoined(
        truth.length,
        pairs.filter((_, k) => !wrong.has(k)),
      )
    )
      continue;
    // What agrees on a displacement must be fewer than the true links across any cut, or nothing could tell them apart.
    const rest = pairs.filter((_, k) => !wrong.has(k));
    const ends = (moved) => pairs.flatMap((p, k) => (wrong.get(k) === moved[0] || wrong.get(k) === moved[1] ? p : []));
    if (
      repeated.some(
        ({ s, moved, count }) =>
          disjointWays(
            rest,
            s,
            ends(moved).filter((e) => e !== s),
          ) <= count,
      )
    )
      continue;
    const trust = (isFalse) => (isFalse ? (hard ? 0.99 : 0.3 + 0.6 * random.uniform()) : 0.6 + 0.35 * random.uniform());
    const edges = pairs.map(([fixed, moving], k) =>
      measure(truth, fixed, moving, random, {
        wrong: wrong.get(k),
        sharp: hard && wrong.has(k) ? 4 : 1,
        probability: trust(wrong.has(k)),
      }),
    );
    for (const [fixed, moving] of extra) {
      // Ground of other strips taken for an overlap: the strip is laid on its partner.
      const onto = middle(truth[fixed]);
      const from = middle(truth[moving]);
      const angle = 2 * Math.PI * random.uniform();
      const moved = poseAbout(from, {
        shiftX: onto.x - from.x + 500 * Math.cos(angle),
        shiftY: onto.y - from.y + 350 * Math.sin(angle),
        rotationDeg: random.normal(),
      });
      edges.push(
        measure(truth, fixed, moving, random, { wrong: moved, sharp: hard ? 4 : 1, probability: trust(true) }),
      );
    }
    return { truth, edges, isFalse: edges.map((_, k) => k >= pairs.length || wrong.has(k)) };
  }
}

/** Whether the strips stay joined without any one of the edges. */
function wellJoined(count, pairs) {
  return pairs.every((_, without) => {
    const seen = new Set([0]);
    for (let grown = true; grown; ) {
      grown = false;
      pairs.forEach(([a, b], k) => {
        if (k !== without && seen.has(a) !== seen.has(b)) {
          seen.add(a).add(b);
          grown = true;
        }
      });
    }
    return seen.size === count;
  });
}

/** Number of ways from a strip to any of others that share no edge (Ford–Fulkerson with capacities of 1). */
function disjointWays(pairs, from, targets) {
  const flow = pairs.map(() => 0);
  for (let ways = 0; ; ways++) {
    const via = new Map([[from, null]]);
    const queue = [from];
    for (const node of queue)
      pairs.forEach(([a, b], k) => {
        const next = a === node ? b : b === node ? a : undefined;
        if (next === undefined || via.has(next) || flow[k] === (a === node ? 1 : -1)) return;
        via.set(next, { node, k, sign: a === node ? 1 : -1 });
        queue.push(next);
      });
    const end = targets.find((t) => via.has(t));
    if (end === undefined) return ways;
    for (let at = end; via.get(at); at = via.get(at).node) flow[via.get(at).k] += via.get(at).sign;
  }
}
