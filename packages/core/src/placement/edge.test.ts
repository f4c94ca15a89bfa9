import { describe, expect, it } from 'vitest';
import { createPlane } from '../compute/image.js';
import { createRandom } from '../compute/random.js';
import type { Masked } from '../registration/lock.js';
import { drawScene } from '../rehearsal/scene.js';
import { REHEARSAL_DEFAULTS } from '../rehearsal/settings.js';
import { runEdge } from './edge.js';

interface Strip {
  readonly masked: Masked;
  /** Its first row in the scene. */
  readonly top: number;
}

/** Cuts strips, given by the shares of the height from and to which they reach, out of a crescent; with noise. */
function stripsOf(phaseAngleDeg: number, seed: number, ...parts: readonly (readonly [number, number])[]): Strip[] {
  const settings = { ...REHEARSAL_DEFAULTS, phaseAngleDeg, diameterPx: 700 };
  const { light, width, height } = drawScene(settings, createRandom(`limbs ${seed}`));
  const noise = createRandom(`n${seed}`);
  return parts.map(([from, to]) => {
    const [top, bottom] = [Math.floor(from * height), Math.floor(to * height)];
    const plane = createPlane(width, bottom - top);
    for (let i = 0; i < plane.data.length; i++) plane.data[i] = light[top * width + i]! + 0.004 * noise.normal();
    return { masked: { light: plane }, top };
  });
}

describe('two strips of a crescent', () => {
  it.each([
    [121, 2],
    [135, 1],
    [142, 2],
  ])('that share no ground have no overlap, though their limbs are alike: phase angle %d', (phaseAngleDeg, seed) => {
    const [fixed, moving] = stripsOf(phaseAngleDeg, seed, [0, 0.34], [0.62, 1]);
    expect(runEdge({ fixed: fixed!.masked, moving: moving!.masked })).toBeNull();
  });

  it('that share ground are laid where it is the same', () => {
    const [fixed, moving] = stripsOf(121, 2, [0, 0.6], [0.4, 1]);
    const { pose } = runEdge({ fixed: fixed!.masked, moving: moving!.masked })!;
    // Half a px is near enough for the ties, which tell the rest.
    expect(Math.abs(pose.tx)).toBeLessThan(0.5);
    expect(Math.abs(pose.ty - moving!.top)).toBeLessThan(0.5);
    expect(Math.abs(pose.yx)).toBeLessThan(1e-3);
  });
});
