import { readingKey } from '../capture/reading.js';
import { mappedBounds } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import { hashOfFloats } from '../job/hash.js';
import { runStage } from '../job/stage.js';
import { frameKey } from '../quality/frame-key.js';
import type { SeenFrame } from '../registration/seeing-stage.js';
import { liftOf } from './correct-frame.js';
import { defectsOnProxy, fineFrames } from './fine-frame.js';
import { type FinePattern, fineFor } from './fine-stage.js';
import type { PlacedPass, PlateLight } from './light-stage.js';
import { TRANSIENT_RIM_PX, transientTask } from './transient-task.js';

/** Where a frame shows what no other frame does: birds, aircraft, satellites, hits of particles. */
export interface Intrusion {
  /** Cells of {@link INTRUSION_CELL_PX} px that hold any of it, column and row, in the track's space at proxy scale. */
  readonly cells: readonly (readonly [number, number])[];
  /** Pixels of the proxy's scale that stand out. */
  readonly pixels: number;
}

/** Side of a cell; cell (0, 0) begins at px (0, 0) of the track's space. */
export const INTRUSION_CELL_PX = 8;

/** Values of all frames that are held at once on a band of ground. */
const HELD_VALUES = 8_000_000;

/** Stage: finds what passes through single frames of a pass, at proxy scale. One entry a frame, in the order of the pass. */
export async function transientStage(
  context: JobContext,
  placed: PlacedPass,
  light: PlateLight,
  fine: FinePattern,
  passIndex: number,
): Promise<readonly Intrusion[]> {
  const { frames, graded } = placed.tracked;
  const { width, height } = frames[0]!.proxy;
  const corrections = light.corrections[passIndex]!;
  const bands = bandsOf(frames);
  const artefact = await runStage(context, {
    name: 'transients',
    subject: graded.pass.name,
    key: {
      ...{ pattern: light.pattern, fine: fine.hash, bin: graded.binFactor, reading: readingKey(graded.reading) },
      defects: Array.from(graded.defects),
      frames: frames.map((f, k) => [
        ...frameKey(f),
        f.pose,
        corrections[k],
        hashOfFloats(f.field.x),
        hashOfFloats(f.field.y),
      ]),
    },
    total: bands.length,
    run: async (handle) => {
      const finePlane = fineFor(fine, graded.pass, graded.binFactor);
      const lift = liftOf(light.pattern, width, height, context.pool.floats.take(width * height), finePlane);
      const defects = defectsOnProxy(graded.defects, graded.pass.widthPx, frames[0]!.proxy, graded.binFactor);
      const seen = fineFrames(frames, corrections, defects);
      const found = await context.pool.map(
        transientTask,
        bands.map((band) => ({ frames: seen, lift, ...band })),
        { signal: context.signal, onDone: (done) => handle.step(done) },
      );
      context.pool.floats.give([lift]);
      return seen.map((_, k) => {
        const cells = new Map<string, readonly [number, number]>();
        let pixels = 0;
        bands.forEach((band, b) => {
          for (const i of found[b]![k]!) {
            const y = Math.floor(i / band.width);
            // Rims belong to the neighbours.
            if (y < band.rim[0] || y >= band.height - band.rim[1]) continue;
            const [c, r] = [(i % band.width) + band.x0, y + band.y0].map((v) => Math.floor(v / INTRUSION_CELL_PX));
            cells.set(`${c},${r}`, [c!, r!]);
            pixels++;
          }
        });
        return { cells: [...cells.values()], pixels };
      });
    },
  });
  return artefact.result;
}

interface Band {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  /** Rows at its upper and lower end that only help to judge the others. */
  readonly rim: readonly [number, number];
}

/** The ground of a pass in bands that overlap by a rim. Fixed, so that the result does not depend on the workers. */
function bandsOf(frames: readonly Pick<SeenFrame, 'pose' | 'proxy'>[]): Band[] {
  const bounds = frames.map(({ pose, proxy }) => mappedBounds(pose, proxy.width, proxy.height));
  const x0 = Math.floor(Math.min(...bounds.map((b) => b.x0)));
  const top = Math.floor(Math.min(...bounds.map((b) => b.y0)));
  const width = Math.ceil(Math.max(...bounds.map((b) => b.x1))) - x0 + 1;
  const end = Math.ceil(Math.max(...bounds.map((b) => b.y1))) + 1;
  const rows = Math.max(4 * TRANSIENT_RIM_PX, Math.floor(HELD_VALUES / (width * frames.length)));
  const bands: Band[] = [];
  for (let y = top; y < end; y += rows) {
    const above = y > top ? TRANSIENT_RIM_PX : 0;
    const below = y + rows < end ? TRANSIENT_RIM_PX : 0;
    bands.push({ x0, y0: y - above, width, height: Math.min(rows, end - y) + above + below, rim: [above, below] });
  }
  return bands;
}

/** Whether a frame shows something of its own within some px of a place of the track's space at proxy scale. */
export function intrudes(intrusion: Intrusion): (x: number, y: number, reachPx: number) => boolean {
  if (intrusion.cells.length === 0) return () => false;
  const held = new Set(intrusion.cells.map(([c, r]) => `${c},${r}`));
  return (x, y, reachPx) => {
    const cell = (v: number): number => Math.floor(v / INTRUSION_CELL_PX);
    for (let r = cell(y - reachPx); r <= cell(y + reachPx); r++) {
      for (let c = cell(x - reachPx); c <= cell(x + reachPx); c++) if (held.has(`${c},${r}`)) return true;
    }
    return false;
  };
}
