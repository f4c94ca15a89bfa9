import { createPlane, type Plane } from './image.js';
import { binWithKernels } from './kernels-filter.js';

/** Mean over factor × factor blocks; an incomplete last row or column of blocks is dropped. Factor 1 copies. */
export function binPlane(plane: Plane, factor: number): Plane {
  if (factor > 1 && (factor & (factor - 1)) === 0) return binWithKernels(plane, factor);
  const width = Math.floor(plane.width / factor);
  const height = Math.floor(plane.height / factor);
  const out = createPlane(width, height);
  const scale = 1 / (factor * factor);
  for (let y = 0; y < height; y++) {
    for (let dy = 0; dy < factor; dy++) {
      const row = (y * factor + dy) * plane.width;
      for (let x = 0; x < width; x++) {
        let sum = 0;
        for (let dx = 0; dx < factor; dx++) sum += plane.data[row + x * factor + dx]!;
        out.data[y * width + x]! += sum * scale;
      }
    }
  }
  return out;
}
