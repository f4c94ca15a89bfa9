// Tracks drifting passes whose truth is known: a body that enters and leaves a small frame, field rotation as of a
// locked-off mount, seeing that shifts and blurs each frame, noise, and a fifth of the frames ruined. Prints how far the
// poses and the smooth path lie from the truth beside the Cramér–Rao bound of the poses, which frames were left out and
// why, and the time a frame takes.
// Arguments: numbers of frames (default 12 24 96 300).
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { runJob } from '../packages/core/dist/job/context.js';
import { trackStage } from '../packages/core/dist/registration/track-stage.js';
import { printMachine, printTable } from './machine.mjs';
import { bound, courseAt, createPass, graded, HEIGHT, WIDTH } from './track-pass.mjs';

const rms = (values) => Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / Math.max(1, values.length));

/** Least-squares rigid map of the found centres on the true ones: the strip's own place and turn are free. */
function gauge(found, wanted) {
  const n = found.length;
  const mean = (list, key) => list.reduce((sum, p) => sum + p[key], 0) / n;
  const [fx, fy, wx, wy] = [mean(found, 'x'), mean(found, 'y'), mean(wanted, 'x'), mean(wanted, 'y')];
  let [re, im] = [0, 0];
  found.forEach((f, i) => {
    const [a, b, c, d] = [f.x - fx, f.y - fy, wanted[i].x - wx, wanted[i].y - wy];
    re += a * c + b * d;
    im += a * d - b * c;
  });
  const angle = Math.atan2(im, re);
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return { angle, at: (p) => ({ x: wx + c * (p.x - fx) - s * (p.y - fy), y: wy + s * (p.x - fx) + c * (p.y - fy) }) };
}

/** Least-squares quadratic of values over times, evaluated at those times. */
function quadratic(times, values) {
  const m = times.reduce((a, b) => a + b, 0) / times.length;
  const h = Math.max(...times.map((t) => Math.abs(t - m)));
  const rows = times.map((t) => [1, (t - m) / h, ((t - m) / h) ** 2]);
  const a = [0, 1, 2].map((i) => [0, 1, 2].map((j) => rows.reduce((s, r) => s + r[i] * r[j], 0)));
  const b = [0, 1, 2].map((i) => rows.reduce((s, r, k) => s + r[i] * values[k], 0));
  for (let i = 0; i < 3; i++) {
    for (let j = i + 1; j < 3; j++) {
      const f = a[j][i] / a[i][i];
      for (let k = 0; k < 3; k++) a[j][k] -= f * a[i][k];
      b[j] -= f * b[i];
    }
  }
  const x = [0, 0, 0];
  for (let i = 2; i >= 0; i--) x[i] = (b[i] - a[i].slice(i + 1).reduce((s, v, k) => s + v * x[i + 1 + k], 0)) / a[i][i];
  return rows.map((r) => r[0] * x[0] + r[1] * x[1] + r[2] * x[2]);
}

function judge(pass, tracked) {
  const centre = (pose) => {
    const [x, y] = [(WIDTH - 1) / 2, (HEIGHT - 1) / 2];
    return { x: pose.xx * x + pose.xy * y + pose.tx, y: pose.yx * x + pose.yy * y + pose.ty };
  };
  const placed = tracked.frames.filter((f) => pass.frames[f.index].mark === 'good');
  const truth = placed.map((f) => pass.frames[f.index]);
  const found = placed.map((f) => centre(f.pose));
  const map = gauge(
    found,
    truth.map((t) => t.at),
  );
  const poseErrors = found.flatMap((f, i) => {
    const p = map.at(f);
    return [p.x - truth[i].at.x, p.y - truth[i].at.y];
  });
  const turnErrors = placed.map((f, i) => Math.atan2(f.pose.yx, f.pose.xx) + map.angle - truth[i].at.turn);
  const meanTurn = turnErrors.reduce((a, b) => a + b, 0) / turnErrors.length;
  const times = truth.map((t) => t.time);
  const calm = found.map((f, i) => ({ x: map.at(f).x - truth[i].tilt.x, y: map.at(f).y - truth[i].tilt.y }));
  const fit = ['x', 'y'].map((axis) =>
    quadratic(
      times,
      calm.map((p) => p[axis]),
    ),
  );
  const smooth = times.flatMap((t, i) => {
    const c = courseAt(t, pass.px);
    return [fit[0][i] - c.x, fit[1][i] - c.y];
  });
  const raw = ['x', 'y'].map((axis) =>
    quadratic(
      times,
      found.map((p) => map.at(p)[axis]),
    ),
  );
  const withSeeing = times.flatMap((t, i) => {
    const c = courseAt(t, pass.px);
    return [raw[0][i] - c.x, raw[1][i] - c.y];
  });
  const good = pass.frames.flatMap((f, i) => (f.mark === 'good' ? [i] : []));
  const kept = new Set(tracked.frames.map((f) => f.index));
  return {
    pose: rms(poseErrors),
    worst: Math.max(...poseErrors.map(Math.abs)),
    corner: (rms(turnErrors.map((t) => t - meanTurn)) * WIDTH) / 2,
    path: rms(smooth),
    pathSeeing: rms(withSeeing),
    goodLost: good.filter((i) => !kept.has(i)),
    good: good.length,
  };
}

printMachine();
const counts = process.argv.slice(2).map(Number);
const scratch = await mkdtemp(join(tmpdir(), 'plenilune-bench-'));
const rows = [];
const notes = [];
try {
  for (const count of counts.length > 0 ? counts : [12, 24, 96, 300]) {
    for (const ruin of count >= 90 ? [false, true] : [false]) {
      const name = `${count}${ruin ? ' ruined' : ''}`;
      const pass = createPass(count, ruin, name);
      const capture = graded(pass, name);
      const started = performance.now();
      const cpu = process.cpuUsage();
      const [tracked] = await runJob({ workDir: join(scratch, name.replace(' ', '-')), workers: 2 }, (context) =>
        trackStage(context, [capture]),
      );
      const seconds = (performance.now() - started) / 1000;
      const used = process.cpuUsage(cpu);
      const cpuMs = (used.user + used.system) / 1000 / count;
      const j = judge(pass, tracked);
      const fixed = (v) => v.toFixed(4);
      rows.push([
        name,
        pass.px.toFixed(2),
        tracked.frames.length,
        fixed(j.pose),
        fixed(bound(pass)),
        fixed(j.worst),
        fixed(j.corner),
        fixed(j.path),
        fixed(j.pathSeeing),
        `${j.goodLost.length}/${j.good}`,
        seconds.toFixed(2),
        ((1000 * seconds) / count).toFixed(1),
        cpuMs.toFixed(1),
      ]);
      if (!ruin && j.goodLost.length === 0) continue;
      const losses = new Map(tracked.leftOut.map((l) => [Number(l.item.split('/')[1]), l]));
      const table = new Map();
      pass.frames.forEach((f, i) => {
        const mark = f.mark === 'bump' ? (f.off >= 2 ? 'bump' : 'bump tail') : f.mark;
        const key = `${mark} -> ${losses.get(i)?.reason ?? 'kept'}`;
        table.set(key, [...(table.get(key) ?? []), i]);
      });
      notes.push(
        `${name}:`,
        ...[...table].sort().map(([k, v]) => `  ${k}: ${v.length}${v.length < 13 ? ` (${v.join(' ')})` : ''}`),
      );
      if (ruin)
        notes.push(
          `  steps lost before: ${[...pass.lost]
            .sort((a, b) => a[0] - b[0])
            .map(([k, n]) => `${k}+${n}`)
            .join(' ')}`,
          `  gaps found: ${(tracked.gaps ?? []).map((g) => `${g.before.split('/')[1]}+${g.lost}`).join(' ')}`,
        );
    }
  }
} finally {
  await rm(scratch, { recursive: true, force: true });
}
printTable(
  [
    'frames',
    'drift px',
    'kept',
    'pose rms px',
    'bound',
    'worst',
    'turn at edge px',
    'path rms px',
    'with seeing',
    'good lost',
    's',
    'ms a frame',
    'cpu ms',
  ],
  rows,
);
console.log(notes.join('\n'));
