import fc from 'fast-check';
import { describe, expect, it, test } from 'vitest';
import { losslessJpeg } from '../../test/lossless-jpeg-file.js';
import { decodeLosslessJpeg } from './lossless-jpeg.js';

const picture = fc
  .record({
    width: fc.integer({ min: 1, max: 12 }),
    height: fc.integer({ min: 1, max: 9 }),
    components: fc.integer({ min: 1, max: 4 }),
    predictor: fc.integer({ min: 1, max: 7 }),
    restartRows: fc.integer({ min: 0, max: 3 }),
  })
  .chain((shape) => {
    const length = shape.width * shape.height * shape.components;
    const sample = fc.oneof(fc.integer({ min: 0, max: 65_535 }), fc.constantFrom(0, 32_768, 65_535));
    return fc.record({
      shape: fc.constant(shape),
      samples: fc.array(sample, { minLength: length, maxLength: length }),
    });
  });

describe('lossless JPEG', () => {
  it('gives every sample back, whatever the predictor and the restarts', () => {
    fc.assert(
      fc.property(picture, ({ shape, samples }) => {
        const written = Uint16Array.from(samples);
        const read = decodeLosslessJpeg(losslessJpeg(written, shape), samples.length);
        expect([read.width, read.height, read.components]).toEqual([shape.width, shape.height, shape.components]);
        expect(read.samples).toEqual(written);
      }),
      { seed: 4, numRuns: 400 },
    );
  });

  it('refuses what is cut short, and takes no more memory than it is allowed', () => {
    const samples = Uint16Array.from({ length: 600 }, (_, i) => (i * 7919) & 0xffff);
    const bytes = losslessJpeg(samples, { width: 20, height: 30, components: 1, predictor: 1 });
    for (let length = 0; length < bytes.length - 8; length += 7) {
      expect(() => decodeLosslessJpeg(bytes.subarray(0, length), 600)).toThrow('damaged or cut short');
    }
    expect(() => decodeLosslessJpeg(bytes, 599)).toThrow('larger than the file says');
  });
});

test('another kind of JPEG is told from a lossless one', () => {
  const bytes = losslessJpeg(new Uint16Array(4), { width: 2, height: 2, components: 1, predictor: 1 });
  bytes[bytes.indexOf(Buffer.from([0xff, 0xc3])) + 1] = 0xc0;
  expect(() => decodeLosslessJpeg(bytes, 4)).toThrow('not lossless');
});
