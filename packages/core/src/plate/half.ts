/** The largest finite value of a half. */
const MOST_HALF = 65504;

const value = new Float32Array(1);
const bits = new Uint32Array(value.buffer);

/**
 * Bits of the nearest 16-bit float, ties to even, with zeros that sink below the smallest one: IEEE 754-2019, binary16. What
 * is too large becomes the largest finite value; what is not a number stays that.
 */
export function halfBits(number: number): number {
  value[0] = number;
  const sign = (bits[0]! >>> 16) & 0x8000;
  const magnitude = bits[0]! & 0x7fffffff;
  if (magnitude > 0x7f800000) return sign | 0x7e00;
  if (magnitude >= 0x477ff000) return sign | 0x7bff;
  if (magnitude < 0x38800000) {
    // Multiples of 2^-24: the sum rounds to them, ties to even, as its own last bit is worth that much.
    value[0] = Math.abs(number) + 0.5;
    return sign | (bits[0]! - 0x3f000000);
  }
  return sign | ((magnitude + 0xc8000fff + ((magnitude >>> 13) & 1)) >>> 13);
}

/** The value that the bits of a 16-bit float stand for. */
export function halfValue(half: number): number {
  const sign = half & 0x8000 ? -1 : 1;
  const exponent = (half >>> 10) & 31;
  const fraction = half & 1023;
  if (exponent === 31) return fraction === 0 ? sign * Number.POSITIVE_INFINITY : Number.NaN;
  if (exponent === 0) return sign * fraction * 2 ** -24;
  return sign * (1 + fraction / 1024) * 2 ** (exponent - 15);
}
