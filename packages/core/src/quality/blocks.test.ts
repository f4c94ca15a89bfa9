import { describe, expect, it } from 'vitest';
import { expectSamples } from '../../test/floats.js';
import { planeOf } from '../../test/scene-field.js';
import { binPlane } from '../compute/downsample.js';
import { luminance, type Plane, rowsOf } from '../compute/image.js';
import { BLOCK_PX, reduceToBlocks } from './blocks.js';
import { surveyFrame } from './survey.js';

const pictureOf = (planes: readonly Plane[]) => ({
  width: planes[0]!.width,
  height: planes[0]!.height,
  planes: planes.map((p) => p.data),
});

describe('reduceToBlocks', () => {
  it('tiles from the first pixel, drops incomplete blocks, and keeps channels apart', () => {
    const red = planeOf(
      2 * BLOCK_PX + 5,
      BLOCK_PX + 15,
      (x, y) => (x < BLOCK_PX ? 0.25 : 0.5) + (y >= BLOCK_PX ? 9 : 0),
    );
    const green = planeOf(2 * BLOCK_PX + 5, BLOCK_PX + 15, (x) => (x < BLOCK_PX ? 0.125 : 0.75));
    const image = pictureOf([red, green]);
    const blocks = reduceToBlocks(surveyFrame(rowsOf(image), 1, 0), luminance(image), 0);
    expect([blocks.columns, blocks.rows]).toEqual([2, 1]);
    expectSamples(blocks.means[0]!, [0.25, 0.5]);
    expectSamples(blocks.means[1]!, [0.125, 0.75]);
    // Values that Float32 holds exactly, so that the spread is exactly 0.
    expectSamples(blocks.spread, [0, 0]);
  });

  it('takes means at full scale and detail at proxy scale, on the same blocks', () => {
    const image = pictureOf([planeOf(6 * BLOCK_PX, 4 * BLOCK_PX, (x, y) => x / 512 + y / 1024)]);
    const survey = surveyFrame(rowsOf(image), 2, 0);
    const blocks = reduceToBlocks(survey, survey.light, 0);
    expectSamples(survey.light.data, binPlane(luminance(image), 2).data, 1e-7);
    expect([blocks.columns, blocks.rows]).toEqual([3, 2]);
    for (let r = 0; r < 2; r++) {
      for (let c = 0; c < 3; c++) {
        const i = r * 3 + c;
        // Mean place of a block of 32 px: 32·c + 15.5.
        expect(blocks.means[0]![i]).toBeCloseTo((32 * c + 15.5) / 512 + (32 * r + 15.5) / 1024, 6);
        // Spread of 16 even steps of 2 px in x and in y: (2² · (16² − 1) / 12) px².
        expect(blocks.spread[i]).toBeCloseTo(Math.sqrt(85 / 512 ** 2 + 85 / 1024 ** 2), 4);
      }
    }
  });

  it('subtracts what noise adds to the energy of the finest detail', () => {
    const image = pictureOf([planeOf(2 * BLOCK_PX, BLOCK_PX, () => 0.5)]);
    const fine = planeOf(2 * BLOCK_PX, BLOCK_PX, (x) => (x < BLOCK_PX ? 0 : x % 2 === 0 ? 0.25 : -0.25));
    const { fineEnergy } = reduceToBlocks(surveyFrame(rowsOf(image), 1, 0), fine, 0.015625);
    expectSamples(fineEnergy, [-0.015625, 0.0625 - 0.015625]);
  });

  it('counts clipped pixels of any channel', () => {
    const dark = planeOf(2 * BLOCK_PX, BLOCK_PX, () => 0.2);
    const bright = planeOf(2 * BLOCK_PX, BLOCK_PX, (x, y) => (x < 8 && y < 4 ? 0.996 : 0.99));
    const { clipped } = reduceToBlocks(surveyFrame(rowsOf(pictureOf([dark, bright, dark])), 1, 0), dark, 0);
    expectSamples(clipped, [32 / BLOCK_PX ** 2, 0]);
  });

  it('gives no blocks for a picture smaller than one', () => {
    const image = pictureOf([planeOf(BLOCK_PX - 1, 40, () => 1)]);
    const blocks = reduceToBlocks(surveyFrame(rowsOf(image), 1, 0), luminance(image), 0);
    expect([blocks.columns, blocks.rows, blocks.spread.length]).toEqual([0, 2, 0]);
  });
});
