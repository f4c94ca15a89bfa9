/** A yes or no per pixel, row-major: 1 or 0. */
export interface Mask {
  readonly width: number;
  readonly height: number;
  readonly data: Uint8Array;
}

/**
 * Keeps the pixels whose whole square of `size` x `size` px (odd) around them is set. Outside the mask everything counts
 * as set. Throws RangeError for a size that is not odd and positive.
 */
export function erodeSquare(mask: Mask, size: number): Mask {
  if (!Number.isInteger(size) || size < 1 || size % 2 === 0)
    throw new RangeError(`size must be odd and positive, got ${size}`);
  const { width, height } = mask;
  const radius = (size - 1) / 2;
  const rows = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) erodeLine(mask.data, rows, y * width, 1, width, radius);
  const data = new Uint8Array(width * height);
  for (let x = 0; x < width; x++) erodeLine(rows, data, x, width, height, radius);
  return { width, height, data };
}

/**
 * Fills holes and bays that a disc of `radius` px does not fit into: dilation by the disc, then erosion. The disc's rows
 * reach round(sqrt(radius² − dy²)). Outside the mask nothing is added and nothing taken away.
 */
export function closeDisc(mask: Mask, radius: number): Mask {
  const grown = dilateDisc(mask, radius);
  return complement(dilateDisc(complement(grown), radius));
}

function complement(mask: Mask): Mask {
  return { width: mask.width, height: mask.height, data: mask.data.map((v) => 1 - v) };
}

function dilateDisc(mask: Mask, radius: number): Mask {
  const { width, height } = mask;
  const distance = new Uint16Array(width * height);
  for (let y = 0; y < height; y++) rowDistances(mask.data, distance, y * width, width);
  const data = new Uint8Array(width * height);
  for (let dy = -radius; dy <= radius; dy++) {
    const reach = Math.round(Math.sqrt(radius * radius - dy * dy));
    for (let y = Math.max(0, -dy); y < Math.min(height, height - dy); y++) {
      const from = (y + dy) * width;
      const to = y * width;
      for (let x = 0; x < width; x++) if (distance[from + x]! <= reach) data[to + x] = 1;
    }
  }
  return { width, height, data };
}

/** Distance along the row to the nearest set pixel; 65535 when there is none. */
function rowDistances(data: Uint8Array, distance: Uint16Array, start: number, n: number): void {
  let run = 65535;
  for (let i = start; i < start + n; i++) {
    run = data[i] ? 0 : Math.min(65535, run + 1);
    distance[i] = run;
  }
  run = 65535;
  for (let i = start + n - 1; i >= start; i--) {
    run = data[i] ? 0 : Math.min(65535, run + 1);
    distance[i] = Math.min(distance[i]!, run);
  }
}

function erodeLine(from: Uint8Array, to: Uint8Array, start: number, stride: number, n: number, radius: number): void {
  let clear = 0;
  for (let i = 0; i < Math.min(radius, n); i++) clear += 1 - from[start + i * stride]!;
  for (let i = 0; i < n; i++) {
    const entering = i + radius;
    const leaving = i - radius - 1;
    if (entering < n) clear += 1 - from[start + entering * stride]!;
    if (leaving >= 0) clear -= 1 - from[start + leaving * stride]!;
    to[start + i * stride] = clear === 0 ? 1 : 0;
  }
}
