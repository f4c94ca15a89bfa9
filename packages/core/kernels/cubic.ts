// Cubic convolution with a = −1/2 (Keys 1981) over 4 × 4 pixels.

/** Keys's weights, a = −1/2, for the samples at −1 … 2. */
@inline
export function cubicTaps(f: f32): v128 {
  const ff = f * f;
  return f32x4(
    f * (-0.5 + f * (1 - 0.5 * f)), 1 + ff * (-2.5 + 1.5 * f), f * (0.5 + f * (2 - 1.5 * f)), ff * (-0.5 + 0.5 * f),
  );
}

@inline
export function fourByFour(p: usize, stride: usize, x4: v128, y4: v128): f32 {
  const v = f32x4.mul(x4, fourRows(p, stride, y4));
  const halves = f32x4.add(v, v128.shuffle<f32>(v, v, 2, 3, 2, 3));
  return f32x4.extract_lane(halves, 0) + f32x4.extract_lane(halves, 1);
}

@inline
export function fourRows(p: usize, stride: usize, y4: v128): v128 {
  let v = f32x4.mul(v128.shuffle<f32>(y4, y4, 0, 0, 0, 0), v128.load(p));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(y4, y4, 1, 1, 1, 1), v128.load(p + stride)));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(y4, y4, 2, 2, 2, 2), v128.load(p + 2 * stride)));
  return f32x4.add(v, f32x4.mul(v128.shuffle<f32>(y4, y4, 3, 3, 3, 3), v128.load(p + 3 * stride)));
}

/** Four neighbours with the same taps. */
@inline
export function fourShifted(p: usize, stride: usize, x4: v128, y4: v128): v128 {
  const a = fourRows(p, stride, y4);
  const b = fourRows(p + 16, stride, y4);
  let v = f32x4.mul(v128.shuffle<f32>(x4, x4, 0, 0, 0, 0), a);
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 1, 1, 1, 1), v128.shuffle<f32>(a, b, 1, 2, 3, 4)));
  v = f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 2, 2, 2, 2), v128.shuffle<f32>(a, b, 2, 3, 4, 5)));
  return f32x4.add(v, f32x4.mul(v128.shuffle<f32>(x4, x4, 3, 3, 3, 3), v128.shuffle<f32>(a, b, 3, 4, 5, 6)));
}

@inline
export function column(p: usize, stride: usize, y0: v128, y1: v128, y2: v128, y3: v128): v128 {
  let v = f32x4.mul(y0, v128.load(p));
  v = f32x4.add(v, f32x4.mul(y1, v128.load(p + stride)));
  v = f32x4.add(v, f32x4.mul(y2, v128.load(p + 2 * stride)));
  return f32x4.add(v, f32x4.mul(y3, v128.load(p + 3 * stride)));
}

/** a + f·b. */
@inline
function line(a: f32, f: v128, b: v128): v128 {
  return f32x4.add(f32x4.splat(a), f32x4.mul(f, b));
}

/** The weights of {@link cubicTaps} for four positions, one sample each. */
@inline
export function tap0(f: v128): v128 {
  return f32x4.mul(f, line(-0.5, f, line(1, f, f32x4.splat(-0.5))));
}

@inline
export function tap1(f: v128): v128 {
  return line(1, f32x4.mul(f, f), line(-2.5, f, f32x4.splat(1.5)));
}

@inline
export function tap2(f: v128): v128 {
  return f32x4.mul(f, line(0.5, f, line(2, f, f32x4.splat(-1.5))));
}

@inline
export function tap3(f: v128): v128 {
  return f32x4.mul(f32x4.mul(f, f), line(-0.5, f, f32x4.splat(0.5)));
}
