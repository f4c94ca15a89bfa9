import type { Plane } from '../compute/image.js';

/** Colours of the filters over the four first pixels: a row, then the next row. */
export type BayerPattern = 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG';

const PATTERNS: readonly BayerPattern[] = ['RGGB', 'GRBG', 'GBRG', 'BGGR'];

/** The pattern by this name, seen from a pixel further right and down; `undefined` when there is none of that name. */
export function bayerPatternOf(name: string, right = 0, down = 0): BayerPattern | undefined {
  const at = PATTERNS.indexOf(name as BayerPattern);
  // Bit 0 of the position is the phase in x, bit 1 that in y.
  return at < 0 ? undefined : PATTERNS[at ^ (right & 1) ^ ((down & 1) << 1)];
}

/**
 * Fills in the two missing colours of every pixel of a mosaic (space 1, linear; 1 is clipped) along the direction in which the
 * picture changes less: green first, with the curvature of the pixel's own colour as a correction, then red and blue by
 * their differences from green. Adaptive color plan interpolation: US patent 5,629,734 (1997, expired). Recorded samples
 * come back as they are; borders are mirrored. Colour differences vary least when grey is grey, so for the while of the
 * work red and blue are brought to green's sum. At least 2 x 2 pixels. Returns red, green and blue.
 */
export function demosaic(mosaic: Plane, pattern: BayerPattern): [Float32Array, Float32Array, Float32Array] {
  const { width, height, data } = mosaic;
  if (width < 2 || height < 2) throw new Error(`a mosaic of ${width} x ${height} pixels holds no colours`);
  const redX = PATTERNS.indexOf(pattern) & 1;
  const redY = PATTERNS.indexOf(pattern) >> 1;
  const [redGain, blueGain] = balanceOf(mosaic, redX, redY);
  const even = balanced(mosaic, redX, redY, redGain, blueGain);
  const green = fillGreen(even, width, height, (redX + redY) & 1);
  const red = fillColour(even, green, width, height, redX, redY, redGain);
  const blue = fillColour(even, green, width, height, redX ^ 1, redY ^ 1, blueGain);
  keepRecorded(data, width, height, redX, redY, red, blue);
  return [red, green, blue];
}

/** Gains that bring the sums of red and blue to half that of green, of which there are twice as many; 1 in the dark. */
function balanceOf({ width, height, data }: Plane, redX: number, redY: number): [number, number] {
  const sums = [0, 0, 0];
  for (let y = 0; y < height - 1; y += 2) {
    for (let x = 0; x < width - 1; x += 2) {
      const red = (y + redY) * width + x + redX;
      const blue = (y + (redY ^ 1)) * width + x + (redX ^ 1);
      sums[0]! += data[red]!;
      sums[1]! += data[(y + redY) * width + x + (redX ^ 1)]! + data[(y + (redY ^ 1)) * width + x + redX]!;
      sums[2]! += data[blue]!;
    }
  }
  const [red, green, blue] = sums as [number, number, number];
  const gain = (sum: number): number => {
    const ratio = green / 2 / sum;
    return ratio > 1 / 8 && ratio < 8 ? ratio : 1;
  };
  return [gain(red), gain(blue)];
}

function balanced({ width, height, data }: Plane, redX: number, redY: number, redGain: number, blueGain: number) {
  const out = Float32Array.from(data);
  for (let y = 0; y < height; y++) {
    const onRed = (y & 1) === redY;
    const gain = onRed ? redGain : blueGain;
    for (let x = onRed ? redX : redX ^ 1, at = y * width + x; x < width; x += 2, at += 2) out[at]! *= gain;
  }
  return out;
}

/** Mirrors a position about the border pixel, so that the filters' phase is kept. */
function mirror(position: number, size: number): number {
  if (position < 0) return -position < size ? -position : 1;
  return position < size ? position : Math.max(0, 2 * size - 2 - position);
}

/** `offset` is the parity of x + y at the sites of red and blue. */
function fillGreen(even: Float32Array, width: number, height: number, offset: number): Float32Array {
  const out = Float32Array.from(even);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    const up = mirror(y - 1, height) * width;
    const down = mirror(y + 1, height) * width;
    const upTwo = (height > 2 ? mirror(y - 2, height) : y) * width;
    const downTwo = (height > 2 ? mirror(y + 2, height) : y) * width;
    for (let x = (y + offset) & 1; x < width; x += 2) {
      const inside = x >= 2 && x < width - 2;
      const left = even[row + (inside ? x - 1 : mirror(x - 1, width))]!;
      const right = even[row + (inside ? x + 1 : mirror(x + 1, width))]!;
      const leftTwo = even[row + (inside ? x - 2 : width > 2 ? mirror(x - 2, width) : x)]!;
      const rightTwo = even[row + (inside ? x + 2 : width > 2 ? mirror(x + 2, width) : x)]!;
      const above = even[up + x]!;
      const below = even[down + x]!;
      const twice = 2 * even[row + x]!;
      const bendX = twice - leftTwo - rightTwo;
      const bendY = twice - even[upTwo + x]! - even[downTwo + x]!;
      const changeX = Math.abs(left - right) + Math.abs(bendX);
      const changeY = Math.abs(above - below) + Math.abs(bendY);
      if (changeX < changeY) out[row + x] = (left + right) / 2 + bendX / 4;
      else if (changeY < changeX) out[row + x] = (above + below) / 2 + bendY / 4;
      else out[row + x] = (left + right + above + below) / 4 + (bendX + bendY) / 8;
    }
  }
  return out;
}

/** Red or blue from its sites at the parity (`siteX`, `siteY`): between two or four of them, by differences from green. */
function fillColour(
  even: Float32Array,
  green: Float32Array,
  width: number,
  height: number,
  siteX: number,
  siteY: number,
  gain: number,
): Float32Array {
  const out = new Float32Array(even.length);
  const difference = (at: number): number => even[at]! - green[at]!;
  for (let y = 0; y < height; y++) {
    const row = y * width;
    const up = mirror(y - 1, height) * width;
    const down = mirror(y + 1, height) * width;
    const onRow = (y & 1) === siteY;
    for (let x = 0; x < width; x++) {
      const inside = x >= 1 && x < width - 1;
      const left = inside ? x - 1 : mirror(x - 1, width);
      const right = inside ? x + 1 : mirror(x + 1, width);
      const onColumn = (x & 1) === siteX;
      let found = green[row + x]!;
      if (onRow && onColumn) found = even[row + x]!;
      else if (onRow) found += (difference(row + left) + difference(row + right)) / 2;
      else if (onColumn) found += (difference(up + x) + difference(down + x)) / 2;
      else found += alongLesser(even, green, up + left, down + right, up + right, down + left);
      out[row + x] = found / gain;
    }
  }
  return out;
}

/** Mean colour difference of the diagonal along which the colour changes less, or of both. */
function alongLesser(even: Float32Array, green: Float32Array, a: number, b: number, c: number, d: number): number {
  const falling = Math.abs(even[a]! - even[b]!) + Math.abs(green[a]! - green[b]!);
  const rising = Math.abs(even[c]! - even[d]!) + Math.abs(green[c]! - green[d]!);
  const first = (even[a]! - green[a]! + even[b]! - green[b]!) / 2;
  const second = (even[c]! - green[c]! + even[d]! - green[d]!) / 2;
  if (falling < rising) return first;
  return rising < falling ? second : (first + second) / 2;
}

/** Undoes the rounding that balancing leaves in what was recorded. */
function keepRecorded(
  data: Float32Array,
  width: number,
  height: number,
  redX: number,
  redY: number,
  red: Float32Array,
  blue: Float32Array,
): void {
  for (let y = 0; y < height; y++) {
    const onRed = (y & 1) === redY;
    const plane = onRed ? red : blue;
    for (let x = onRed ? redX : redX ^ 1, at = y * width + x; x < width; x += 2, at += 2) plane[at] = data[at]!;
  }
}
