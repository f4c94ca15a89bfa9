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
