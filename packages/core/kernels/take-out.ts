// A frame's own part taken out of the running model of its pass, on the frame's grid (registration/track-model.ts).

/**
 * Turns `sums` (weighted light of the model) into the mean of the others, `weights` into their share in the whole model,
 * 0 … 1, and `cover` into 1; where the others weigh less than `least` all three become 0. The frame's `own` light was
 * added with a weight that rises from 0 at `border` px within the outermost centres to `ownWeight` over `feather` px.
 */
export function takeOut(
  sums: usize, weights: usize, cover: usize, own: usize, width: i32, height: i32,
  ownWeight: f32, border: f32, feather: f32, least: f32,
): void {
  const right = f32x4.splat((width as f32) - 1 - border);
  const zero = f32x4.splat(0);
  const one = f32x4.splat(1);
  const three = f32x4.splat(3);
  const low = f32x4.splat(border);
  const over = f32x4.splat(1 / feather);
  const most = f32x4.splat(ownWeight);
  const enough = f32x4.splat(least);
  for (let y = 0; y < height; y++) {
    const inside = f32x4.splat(min((y as f32) - border, (height as f32) - 1 - border - (y as f32)));
    let x = 0;
    for (; x < width; x += 4) {
      const k = ((y as usize) * (width as usize) + (x as usize)) * 4;
      const px = f32x4.add(f32x4.splat(x as f32), f32x4(0, 1, 2, 3));
      const across = f32x4.min(f32x4.sub(px, low), f32x4.sub(right, px));
      const rise = f32x4.max(zero, f32x4.min(one, f32x4.mul(over, f32x4.min(across, inside))));
      const share = f32x4.mul(f32x4.mul(rise, rise), f32x4.sub(three, f32x4.add(rise, rise)));
      const w = f32x4.mul(most, share);
      const all = v128.load(weights + k);
      const rest = f32x4.sub(all, w);
      const is = f32x4.ge(rest, enough);
      const left = f32x4.sub(v128.load(sums + k), f32x4.mul(w, v128.load(own + k)));
      const lanes = min(4, width - x);
      keep(sums + k, v128.and(is, f32x4.div(left, rest)), lanes);
      keep(weights + k, v128.and(is, f32x4.div(rest, all)), lanes);
      keep(cover + k, v128.and(is, one), lanes);
    }
  }
}

/** Stores the first lanes. */
@inline
function keep(at: usize, v: v128, lanes: i32): void {
  if (lanes == 4) {
    v128.store(at, v);
    return;
  }
  store<f32>(at, f32x4.extract_lane(v, 0));
  if (lanes > 1) store<f32>(at + 4, f32x4.extract_lane(v, 1));
  if (lanes > 2) store<f32>(at + 8, f32x4.extract_lane(v, 2));
}
