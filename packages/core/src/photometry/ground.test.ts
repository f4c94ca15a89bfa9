import { describe, expect, it } from 'vitest';
import { planeOf } from '../../test/scene-field.js';
import { type Affine, applyX, applyY, poseAbout, translation } from '../compute/affine.js';
import { rowsOf } from '../compute/image.js';
import { BLOCK_PX, type BlockGrid, reduceToBlocks } from '../quality/blocks.js';
import { surveyFrame } from '../quality/survey.js';
import { type LitFrame, observeGround } from './ground.js';

/** Not whole blocks: what is left over at the far edges must not move the middle of the sensor. */
const WIDTH = 12 * BLOCK_PX + 14;
const HEIGHT = 8 * BLOCK_PX + 10;

/** Ground whose light is a plane, so that block means and interpolation between them are exact. */
const light = (x: number, y: number): number => 0.3 + x / 4096 - y / 8192;

function blocksAt(pose: Affine, channels = 1): BlockGrid {
  const plane = planeOf(WIDTH, HEIGHT, (x, y) => light(applyX(pose, x, y), applyY(pose, x, y)));
  const planes = Array.from({ length: channels }, (_, c) => plane.data.map((v) => v / (c + 1)));
  return reduceToBlocks(surveyFrame(rowsOf({ width: WIDTH, height: HEIGHT, planes }), 1, 0), plane, 0);
}

const frameAt = (pose: Affine, channels = 1): LitFrame => ({
  pose,
  widthPx: WIDTH,
  heightPx: HEIGHT,
  blocks: blocksAt(pose, channels),
  skyStart: new Array(channels).fill(0),
});

describe('observeGround', () => {
  const poses = [
    translation(0, 0),
    translation(37.3, 11.8),
    poseAbout({ x: 96, y: 64 }, { shiftX: -20, shiftY: 30, rotationDeg: 3 }),
  ];
  const frames = poses.map((pose) => frameAt(pose, 2));
  const seen = observeGround(frames);

  it('reads the same light off every frame that shows a cell', () => {
    expect(seen.cellCount).toBeGreaterThan(40);
    for (let c = 0; c < seen.cellCount; c++) {
      const [first, last] = [seen.cellStart[c]!, seen.cellStart[c + 1]!];
      expect(last).toBeGreaterThan(first);
      for (let i = first; i < last; i++) {
        // Float32 block means of light below 1.
        expect(Math.abs(seen.value[0]![i]! - seen.value[0]![first]!)).toBeLessThan(1e-6);
        expect(Math.abs(seen.value[1]![i]! - seen.value[0]![i]! / 2)).toBeLessThan(1e-6);
      }
    }
  });

  it('says where on the sensor that was', () => {
    const reach = Math.hypot(WIDTH, HEIGHT) / 2;
    for (let i = 0; i < seen.frame.length; i++) {
      const x = seen.sensorX[i]! * reach + (WIDTH - 1) / 2;
      const y = seen.sensorY[i]! * reach + (HEIGHT - 1) / 2;
      const pose = poses[seen.frame[i]!]!;
      expect(Math.abs(light(applyX(pose, x, y), applyY(pose, x, y)) - seen.value[0]![i]!)).toBeLessThan(1e-6);
      // Means are not continued beyond those of the outermost whole blocks.
      for (const [place, count] of [
        [x, 12],
        [y, 8],
      ] as const) {
        expect(place).toBeGreaterThan(7.5 - 1e-2);
        expect(place).toBeLessThan(count * BLOCK_PX - 8.5 + 1e-2);
      }
    }
  });

  it('leaves out clipped blocks', () => {
    const [a, b] = [frameAt(poses[0]!), frameAt(poses[1]!)];
    const plain = observeGround([a, b]);
    const clipped = Float32Array.from(b.blocks.clipped, (_, i) => (i % 12 < 6 ? 0.01 : 0));
    const fewer = observeGround([a, { ...b, blocks: { ...b.blocks, clipped } }]);
    const own = (of: typeof plain): number => of.frame.filter((f) => f === 1).length;
    expect(own(fewer)).toBeGreaterThan(0);
    expect(own(fewer)).toBeLessThan(0.6 * own(plain));
    for (let i = 0; i < fewer.frame.length; i++)
      if (fewer.frame[i] === 1) expect(fewer.sensorX[i]).toBeGreaterThan(-0.1);
  });

  it('keeps cells that one frame alone has seen, and none that nobody has', () => {
    const alone = observeGround([frameAt(poses[0]!)]);
    // 12 × 8 blocks have their middles 11 × 7 steps apart; cells lie half a px off them.
    expect(alone.cellCount).toBeGreaterThanOrEqual(11 * 7);
    expect(alone.cellCount).toBe(alone.frame.length);
    const apart = observeGround([frameAt(poses[0]!), frameAt(translation(5008, 0))]);
    expect(apart.cellCount).toBe(apart.frame.length);
    expect(apart.cellCount).toBeLessThanOrEqual(2 * 12 * 8);
  });

  it('expects more of even blocks than of rough ones', () => {
    const even = observeGround([frameAt(poses[0]!), frameAt(poses[1]!)]);
    const roughen = (frame: LitFrame): LitFrame => ({
      ...frame,
      blocks: { ...frame.blocks, spread: frame.blocks.spread.map((v) => 10 * v) },
    });
    const rough = observeGround([roughen(frameAt(poses[0]!)), roughen(frameAt(poses[1]!))]);
    for (let i = 0; i < even.frame.length; i++) expect(rough.roughness[i]! / even.roughness[i]!).toBeCloseTo(10, 3);
  });
});
