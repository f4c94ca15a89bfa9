// Lanes of two vectors brought together.

@inline
export function lowPairs(a: v128, b: v128): v128 {
  return v128.shuffle<f32>(a, b, 0, 4, 1, 5);
}

@inline
export function highPairs(a: v128, b: v128): v128 {
  return v128.shuffle<f32>(a, b, 2, 6, 3, 7);
}

@inline
export function lowHalves(a: v128, b: v128): v128 {
  return v128.shuffle<f64>(a, b, 0, 2);
}

@inline
export function highHalves(a: v128, b: v128): v128 {
  return v128.shuffle<f64>(a, b, 1, 3);
}
