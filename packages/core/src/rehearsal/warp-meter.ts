import type { TruePose } from './poses.js';
import { LIT_LEVEL, type Scene } from './scene.js';
import { type WarpField, warpAt } from './seeing.js';

/** How much of the lit ground the capture shows, and how far the mean of its frames is bent. */
export interface WarpSummary {
  /** Rms over the covered lit ground of the displacement averaged over the frames, best similarity removed, frame px. */
  readonly rmsPx: number;
  /** Share of the lit ground that at least one frame shows. */
  readonly coveredShare: number;
}

/** Adds up, on a lattice over the lit ground, by how much the air displaces it. */
export interface WarpMeter {
  add(pose: TruePose, warp: WarpField | undefined): void;
  summary(): WarpSummary;
}

/** Lattice points across the scene's longer side. */
const POINTS = 150;

/** Starts a meter for frames of the given size over a scene. */
export function createWarpMeter(
  scene: Scene,
  oversampling: number,
  captureCentre: readonly [number, number],
  frameWidthPx: number,
  frameHeightPx: number,
): WarpMeter {
  const step = Math.max(2, Math.round(Math.max(scene.width, scene.height) / POINTS));
  const points: { x: number; y: number; dx: number; dy: number; frames: number }[] = [];
  for (let row = step >> 1; row < scene.height; row += step) {
    for (let column = step >> 1; column < scene.width; column += step) {
      if (scene.light[row * scene.width + column]! < LIT_LEVEL) continue;
      const x = (column - captureCentre[0]) / oversampling;
      const y = (row - captureCentre[1]) / oversampling;
      points.push({ x, y, dx: 0, dy: 0, frames: 0 });
    }
  }
  return {
    add(pose, warp) {
      const angle = (pose.theta_deg * Math.PI) / 180;
      const cos = Math.cos(angle);
      const sin = Math.sin(angle);
      for (const point of points) {
        const u = point.x - pose.cx;
        const v = (point.y - pose.cy) / pose.squeeze;
        const column = cos * u + sin * v + (frameWidthPx - 1) / 2;
        const row = cos * v - sin * u + (frameHeightPx - 1) / 2;
        if (column < 0 || row < 0 || column > frameWidthPx - 1 || row > frameHeightPx - 1) continue;
        point.frames++;
        if (warp === undefined) continue;
        // A pixel shows the ground at its place plus the warp, so the ground appears displaced by minus the warp.
        const [wx, wy] = warpAt(warp, column, row);
        point.dx -= cos * wx - sin * wy;
        point.dy -= (sin * wx + cos * wy) * pose.squeeze;
      }
    },
    summary() {
      const seen = points.filter((p) => p.frames > 0);
      const mean = seen.map((p) => ({ x: p.x, y: p.y, dx: p.dx / p.frames, dy: p.dy / p.frames }));
      return { rmsPx: rmsBeyondSimilarity(mean), coveredShare: points.length > 0 ? seen.length / points.length : 0 };
    },
  };
}

/** Rms of what is left of displacements after the best shift, turn and scale in the least-squares sense. */
function rmsBeyondSimilarity(points: readonly { x: number; y: number; dx: number; dy: number }[]): number {
  const n = points.length;
  if (n === 0) return 0;
  const mean = (pick: (p: (typeof points)[number]) => number): number =>
    points.reduce((sum, p) => sum + pick(p), 0) / n;
  const mx = mean((p) => p.x);
  const my = mean((p) => p.y);
  const mdx = mean((p) => p.dx);
  const mdy = mean((p) => p.dy);
  const power = mean((p) => (p.x - mx) ** 2 + (p.y - my) ** 2);
  const scale = power > 0 ? mean((p) => (p.x - mx) * p.dx + (p.y - my) * p.dy) / power : 0;
  const turn = power > 0 ? mean((p) => (p.x - mx) * p.dy - (p.y - my) * p.dx) / power : 0;
  return Math.sqrt(
    mean((p) => {
      const restX = p.dx - mdx - scale * (p.x - mx) + turn * (p.y - my);
      const restY = p.dy - mdy - scale * (p.y - my) - turn * (p.x - mx);
      return restX * restX + restY * restY;
    }),
  );
}
