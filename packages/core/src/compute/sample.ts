/**
 * Value of a row-major plane between its pixels by cubic convolution with a = −1/2 (Keys 1981, exact for quadratics).
 * Outside the picture the nearest pixel counts.
 */
export function cubicAt(data: Float32Array, width: number, height: number, x: number, y: number): number {
  const ix = Math.floor(x);
  const iy = Math.floor(y);
  const fx = x - ix;
  const fy = y - iy;
  const a0 = fx * (-0.5 + fx * (1 - 0.5 * fx));
  const a1 = 1 + fx * fx * (-2.5 + 1.5 * fx);
  const a2 = fx * (0.5 + fx * (2 - 1.5 * fx));
  const a3 = fx * fx * (-0.5 + 0.5 * fx);
  const b0 = fy * (-0.5 + fy * (1 - 0.5 * fy));
  const b1 = 1 + fy * fy * (-2.5 + 1.5 * fy);
  const b2 = fy * (0.5 + fy * (2 - 1.5 * fy));
  const b3 = fy * fy * (-0.5 + 0.5 * fy);
  if (ix >= 1 && iy >= 1 && ix < width - 2 && iy < height - 2) {
    const p = (iy - 1) * width + ix - 1;
    const q = p + width;
    const r = q + width;
    const s = r + width;
    return (
      b0 * (a0 * data[p]! + a1 * data[p + 1]! + a2 * data[p + 2]! + a3 * data[p + 3]!) +
      b1 * (a0 * data[q]! + a1 * data[q + 1]! + a2 * data[q + 2]! + a3 * data[q + 3]!) +
      b2 * (a0 * data[r]! + a1 * data[r + 1]! + a2 * data[r + 2]! + a3 * data[r + 3]!) +
      b3 * (a0 * data[s]! + a1 * data[s + 1]! + a2 * data[s + 2]! + a3 * data[s + 3]!)
    );
  }
  const x0 = clampIndex(ix - 1, width);
  const x1 = clampIndex(ix, width);
  const x2 = clampIndex(ix + 1, width);
  const x3 = clampIndex(ix + 2, width);
  let sum = 0;
  for (let j = 0; j < 4; j++) {
    const row = clampIndex(iy - 1 + j, height) * width;
    const b = j === 0 ? b0 : j === 1 ? b1 : j === 2 ? b2 : b3;
    sum += b * (a0 * data[row + x0]! + a1 * data[row + x1]! + a2 * data[row + x2]! + a3 * data[row + x3]!);
  }
  return sum;
}

/** Value of a row-major plane between its pixels, linear in each direction. Outside, the nearest pixel counts. */
export function bilinearAt(data: Float32Array, width: number, height: number, x: number, y: number): number {
  const cx = x < 0 ? 0 : Math.min(x, width - 1);
  const cy = y < 0 ? 0 : Math.min(y, height - 1);
  const ix = cx >= width - 1 ? Math.max(0, width - 2) : Math.floor(cx);
  const iy = cy >= height - 1 ? Math.max(0, height - 2) : Math.floor(cy);
  const fx = cx - ix;
  const fy = cy - iy;
  const dx = width > 1 ? 1 : 0;
  const dy = height > 1 ? width : 0;
  const p = iy * width + ix;
  const top = data[p]! + fx * (data[p + dx]! - data[p]!);
  const bottom = data[p + dy]! + fx * (data[p + dy + dx]! - data[p + dy]!);
  return top + fy * (bottom - top);
}

function clampIndex(i: number, n: number): number {
  return i < 0 ? 0 : i >= n ? n - 1 : i;
}
