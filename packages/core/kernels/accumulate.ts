// A frame added to rows of a strip: light × weight by channel, and the sum of weights (strip/accumulate.ts). Light by six
// taps each way from a table, at the entry nearest to the position.
import { shiftedRow } from './resample-six';
import { warpRow } from './warp-row';

/**
 * Adds one frame to `rows` × `columns` pixels of a strip, whose first one is plate px (x0, y0); the map takes plate px to
 * px of the frame. Frame planes lie planeBytes apart; so do those of the strip, sumBytes apart, the weight last. The
 * weight rises from 0 at `border` px within the outermost centres to `frameWeight` over `feather` px. Of the frame a
 * window lies in memory, whose first pixel is (frameLeft, frameTop) and whose rows are `stride` bytes apart. `scratch`
 * holds channels + 2 rows of `columns` + 32 floats.
 *
 * A `bend`, two planes of bendColumns × bendRows floats, x and y, is added to the map's answer, px of the frame: its knot
 * (0, 0) lies on plate px (bendX, bendY), whole numbers, the others bendStep px apart; between knots it runs along straight
 * lines. Knots lie all around the pixels. 0 for none. With `isWeighed` a third plane is multiplied with the weight.
 *
 * `offsets`, x and y in doubles for each channel, are added to where that channel is read, px of the frame. 0 for none.
 */
export function accumulate(
  frame: usize, planeBytes: usize, channels: usize, frameWidth: usize, frameHeight: usize,
  frameLeft: i32, frameTop: i32, stride: usize,
  xx: f64, xy: f64, yx: f64, yy: f64, tx: f64, ty: f64,
  sums: usize, sumBytes: usize, x0: f64, y0: f64, columns: i32, rows: i32,
  frameWeight: f64, border: f64, feather: f64, taps: usize, steps: f64, scratch: usize,
  bend: usize, bendColumns: i32, bendRows: i32, bendX: f64, bendY: f64, bendStep: f64, isWeighed: bool, offsets: usize,
): void {
  const first = frame - (frameTop as isize) * (stride as isize) - (frameLeft as isize) * 4;
  const right = (frameWidth as f64) - 1 - border;
  const bottom = (frameHeight as f64) - 1 - border;
  const isShift = bend == 0 && xx == 1 && yx == 0;
  const rowBytes = ((columns + 32) as usize) * 4;
  const weights = scratch;
  const values = scratch + rowBytes;
  const spare = values + channels * rowBytes;
  for (let row = 0; row < rows; row++) {
    const y = y0 + (row as f64);
    const px = xy * y + tx;
    const py = yy * y + ty;
    const out = sums + row * columns * 4;
    for (let start = 0; start < columns; ) {
      let end = columns;
      let ax = xx;
      let bx = px;
      let ay = yx;
      let by = py;
      let share: f64 = 1;
      let slope: f64 = 0;
      if (bend != 0) {
        // Between two knots of a row the bend is a straight line, so that the map stays one.
        const cell = ((x0 + (start as f64) - bendX) / bendStep) as i32;
        const xl = bendX + (cell as f64) * bendStep;
        end = min(columns, (xl + bendStep - x0) as i32);
        const r = min(((y - bendY) / bendStep) as i32, bendRows - 2);
        const t = (y - bendY) / bendStep - (r as f64);
        const at = bend + (r * bendColumns + cell) * 4;
        const plane = (bendRows * bendColumns * 4) as usize;
        const down = (bendColumns * 4) as usize;
        const ul = knot(at, down, t);
        const us = (knot(at + 4, down, t) - ul) / bendStep;
        const vl = knot(at + plane, down, t);
        const vs = (knot(at + plane + 4, down, t) - vl) / bendStep;
        ax += us;
        bx += ul - us * xl;
        ay += vs;
        by += vl - vs * xl;
        if (isWeighed) {
          share = knot(at + 2 * plane, down, t);
          slope = (knot(at + 2 * plane + 4, down, t) - share) / bendStep;
          share -= slope * xl;
        }
      }
      let from = end;
      let to = start;
      for (let column = start; column < end; column += 2) {
        const x = f64x2.add(f64x2.splat(x0 + (column as f64)), f64x2(0, 1));
        const sx = f64x2.add(f64x2.mul(f64x2.splat(ax), x), f64x2.splat(bx));
        const sy = f64x2.add(f64x2.mul(f64x2.splat(ay), x), f64x2.splat(by));
        const low = f64x2.sub(f64x2.pmin(sx, sy), f64x2.splat(border));
        const high = f64x2.pmin(f64x2.sub(f64x2.splat(right), sx), f64x2.sub(f64x2.splat(bottom), sy));
        const inside = f64x2.pmin(low, high);
        const is = f64x2.gt(inside, f64x2.splat(0));
        const which = i64x2.bitmask(is);
        let weight = f64x2.splat(0);
        if (which != 0) {
          const rise = f64x2.pmin(f64x2.div(inside, f64x2.splat(feather)), f64x2.splat(1));
          const square = f64x2.mul(f64x2.mul(f64x2.splat(frameWeight), rise), rise);
          weight = f64x2.mul(square, f64x2.sub(f64x2.splat(3), f64x2.add(rise, rise)));
          if (isWeighed) weight = f64x2.mul(weight, f64x2.add(f64x2.splat(share), f64x2.mul(f64x2.splat(slope), x)));
          weight = v128.and(is, weight);
          from = min(from, which == 2 ? column + 1 : column);
          to = which == 1 ? column + 1 : column + 2;
        }
        v128.store64_lane(weights + column * 4, f32x4.demote_f64x2_zero(weight), 0);
      }
      // An odd length leaves a pixel over.
      to = min(to, end);
      start = end;
      if (from >= to) continue;
      if (isShift) {
        const x = x0 + (from as f64);
        for (let c: usize = 0; c < channels; c++) {
          const to4 = values + c * rowBytes + from * 4;
          const sx = xx * x + px + offset(offsets, 2 * c);
          const sy = yx * x + py + offset(offsets, 2 * c + 1);
          shiftedRow(first + c * planeBytes, stride, sx, sy, taps, steps, to - from, to4, spare);
        }
      } else if (offsets != 0) {
        for (let c: usize = 0; c < channels; c++) {
          const px1 = bx + offset(offsets, 2 * c);
          const py1 = by + offset(offsets, 2 * c + 1);
          const to4 = values + c * rowBytes;
          warpRow(first + c * planeBytes, 0, 1, stride, taps, steps, false, ax, ay, px1, py1, x0, from, to, to4, 0, spare);
        }
      } else {
        warpRow(
          first, planeBytes, channels, stride, taps, steps, false, ax, ay, bx, by, x0, from, to, values, rowBytes, spare,
        );
      }
      for (let c: usize = 0; c < channels; c++) {
        addProducts(out + c * sumBytes, weights, values + c * rowBytes, from, to);
      }
      addProducts(out + channels * sumBytes, weights, 0, from, to);
    }
  }
}

/** A knot of the bend between two of its rows. */
@inline
function knot(at: usize, down: usize, t: f64): f64 {
  const a = load<f32>(at) as f64;
  return a + t * ((load<f32>(at + down) as f64) - a);
}

@inline
function offset(offsets: usize, k: usize): f64 {
  return offsets == 0 ? 0 : load<f64>(offsets + k * 8);
}

/** Adds weight × value, or the weight alone, to a row. */
function addProducts(out: usize, weights: usize, values: usize, from: i32, to: i32): void {
  let k = from * 4;
  const end = to * 4;
  for (; k + 16 <= end; k += 16) {
    let v = v128.load(weights + k);
    if (values != 0) v = f32x4.mul(v, v128.load(values + k));
    v128.store(out + k, f32x4.add(v128.load(out + k), v));
  }
  for (; k < end; k += 4) {
    let v = load<f32>(weights + k);
    if (values != 0) v *= load<f32>(values + k);
    store<f32>(out + k, load<f32>(out + k) + v);
  }
}
