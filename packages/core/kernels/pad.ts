// What is made ready of a picture before it is resampled.

/** Copies a plane with `before` pixels of its edge repeated to the left and above, `after` to the right and below. */
export function padPlane(src: usize, width: usize, height: usize, before: usize, after: usize, dst: usize): void {
  const stride = (width + before + after) * 4;
  for (let y: usize = 0; y < height; y++) {
    const row = dst + (y + before) * stride;
    const from = src + y * width * 4;
    const first = load<f32>(from);
    const last = load<f32>(from + width * 4 - 4);
    for (let k: usize = 0; k < before; k++) store<f32>(row + k * 4, first);
    memory.copy(row + before * 4, from, width * 4);
    for (let k: usize = 0; k < after; k++) store<f32>(row + (before + width + k) * 4, last);
  }
  for (let k: usize = 0; k < before; k++) memory.copy(dst + k * stride, dst + before * stride, stride);
  const bottom = dst + (before + height - 1) * stride;
  for (let k: usize = 1; k <= after; k++) memory.copy(bottom + k * stride, bottom, stride);
}

/**
 * At each pixel the least of the `count` × `count` mask values from `before` pixels to the left and above on: above 1/2
 * where all that an interpolation reads is covered. Beyond the mask its edge counts on. `dst` has the mask's size,
 * `scratch` too.
 */
export function footprint(
  mask: usize, width: usize, height: usize, before: i32, count: i32, dst: usize, scratch: usize,
): void {
  const w = width as i32;
  const h = height as i32;
  for (let y = 0; y < h; y++) {
    const row = (y * w * 4) as usize;
    for (let x = 0; x < w; x++) {
      let least: f32 = 1;
      for (let k = x - before; k < x - before + count; k++) {
        least = min(least, load<f32>(mask + row + min(max(k, 0), w - 1) * 4));
      }
      store<f32>(scratch + row + x * 4, least);
    }
  }
  for (let y = 0; y < h; y++) {
    const to = dst + y * w * 4;
    for (let x = 0; x < w; x++) {
      let least: f32 = 1;
      for (let k = y - before; k < y - before + count; k++) {
        least = min(least, load<f32>(scratch + (min(max(k, 0), h - 1) * w + x) * 4));
      }
      store<f32>(to + x * 4, least);
    }
  }
}
