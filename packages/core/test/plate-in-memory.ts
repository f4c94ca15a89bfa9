import type { LinearImage, Plane } from '../src/compute/image.js';
import type { PlateSource } from '../src/plate/plate-source.js';

/** A plate that is nowhere but in memory, of a picture and its coverage. */
export function plateOf(image: LinearImage, coverage: Plane): PlateSource {
  const { width, height, planes } = image;
  return {
    width,
    height,
    channels: planes.length,
    read: (box) => {
      const part = (from: Float32Array): Float32Array => {
        const to = new Float32Array(box.width * box.height);
        for (let y = 0; y < box.height; y++) {
          const start = (box.y0 + y) * width + box.x0;
          to.set(from.subarray(start, start + box.width), y * box.width);
        }
        return to;
      };
      const size = { width: box.width, height: box.height };
      return { image: { ...size, planes: planes.map(part) }, coverage: { ...size, data: part(coverage.data) } };
    },
  };
}
