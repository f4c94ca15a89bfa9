// Complex transforms of four lines side by side, by mixed radix, decimation in frequency: a first pass from the
// caller's layout into scratch, passes in place within blocks that fit the first cache, a last one back into the
// caller's layout, in natural order. The inverse runs with real and imaginary parts swapped on both sides.
//
// A plan is a table made by compute/kernels-fft-plan.ts: i32 length, i32 number of passes, i32 byte offset of the
// table of places, then for each pass i32 radix, i32 block length and i32 byte offset of its twiddles.
import { butterfly } from './fft-butterfly';

/** Bytes of an element. */
export const ELEMENT: usize = 32;

@inline
function length(plan: usize): usize {
  return load<i32>(plan) as usize;
}

@inline
function passes(plan: usize): i32 {
  return load<i32>(plan + 4);
}

@inline
function radixOf(plan: usize, pass: i32): i32 {
  return load<i32>(plan + 12 + 12 * (pass as usize));
}

@inline
function blockOf(plan: usize, pass: i32): usize {
  return load<i32>(plan + 16 + 12 * (pass as usize)) as usize;
}

@inline
function twiddlesOf(plan: usize, pass: i32): usize {
  return plan + (load<i32>(plan + 20 + 12 * (pass as usize)) as usize);
}

/**
 * Transforms `groups` neighbouring groups of four lines, in place or into another layout. Element y of group g lies at
 * src + y·srcStep + g·32 and goes to dst + y·dstStep + g·32. `scratch` holds groups · length elements.
 */
export function transformLines(
  plan: usize, src: usize, srcStep: usize, dst: usize, dstStep: usize, groups: usize, scratch: usize, inverse: bool,
): void {
  const n = length(plan);
  const last = passes(plan) - 1;
  const re: usize = inverse ? 16 : 0;
  first(plan, src + re, src + 16 - re, srcStep, scratch, groups, n * ELEMENT);
  const blocks = radixOf(plan, 0);
  const m = n / (blocks as usize);
  const lastRadix = radixOf(plan, last);
  const places = plan + (load<i32>(plan + 8) as usize);
  const runs = m / (lastRadix as usize);
  for (let g: usize = 0; g < groups; g++) {
    for (let b: usize = 0; b < (blocks as usize); b++) {
      const base = scratch + (g * n + b * m) * ELEMENT;
      for (let pass = 1; pass < last; pass++) middle(plan, pass, base, m);
      const out = dst + g * ELEMENT;
      finish(lastRadix, base, runs, places + 4 * b * runs, out + re, out + 16 - re, dstStep, n / (lastRadix as usize));
    }
  }
}

function first(
  plan: usize, re: usize, im: usize, step: usize, scratch: usize, groups: usize, groupBytes: usize,
): void {
  const radix = radixOf(plan, 0);
  const m = blockOf(plan, 0) / (radix as usize);
  const tw = twiddlesOf(plan, 0);
  if (radix == 8) firstOf(8, m, tw, re, im, step, scratch, groups, groupBytes);
  else if (radix == 4) firstOf(4, m, tw, re, im, step, scratch, groups, groupBytes);
  else if (radix == 5) firstOf(5, m, tw, re, im, step, scratch, groups, groupBytes);
  else if (radix == 3) firstOf(3, m, tw, re, im, step, scratch, groups, groupBytes);
  else firstOf(2, m, tw, re, im, step, scratch, groups, groupBytes);
}

@inline
function firstOf(
  radix: i32, m: usize, tw: usize, re: usize, im: usize, step: usize, scratch: usize, groups: usize, groupBytes: usize,
): void {
  for (let j: usize = 0; j < m; j++) {
    for (let g: usize = 0; g < groups; g++) {
      const to = scratch + g * groupBytes + j * ELEMENT;
      const from = j * step + g * ELEMENT;
      butterfly(radix, re + from, im + from, m * step, to, to + 16, m * ELEMENT, tw, true);
    }
    tw += 8 * ((radix - 1) as usize);
  }
}

function middle(plan: usize, pass: i32, base: usize, span: usize): void {
  const radix = radixOf(plan, pass);
  const n = blockOf(plan, pass);
  const tw = twiddlesOf(plan, pass);
  if (radix == 8) middleOf(8, n, tw, base, span);
  else if (radix == 4) middleOf(4, n, tw, base, span);
  else if (radix == 5) middleOf(5, n, tw, base, span);
  else if (radix == 3) middleOf(3, n, tw, base, span);
  else middleOf(2, n, tw, base, span);
}

@inline
function middleOf(radix: i32, n: usize, tw: usize, base: usize, span: usize): void {
  const step = (n / (radix as usize)) * ELEMENT;
  const end = base + span * ELEMENT;
  for (let block = base; block < end; block += n * ELEMENT) {
    butterfly(radix, block, block + 16, step, block, block + 16, step, tw, false);
    let w = tw + 8 * ((radix - 1) as usize);
    for (let at = block + ELEMENT; at < block + step; at += ELEMENT) {
      butterfly(radix, at, at + 16, step, at, at + 16, step, w, true);
      w += 8 * ((radix - 1) as usize);
    }
  }
}

function finish(
  radix: i32, base: usize, runs: usize, places: usize, re: usize, im: usize, step: usize, spread: usize,
): void {
  if (radix == 8) finishOf(8, base, runs, places, re, im, step, spread);
  else if (radix == 4) finishOf(4, base, runs, places, re, im, step, spread);
  else if (radix == 5) finishOf(5, base, runs, places, re, im, step, spread);
  else if (radix == 3) finishOf(3, base, runs, places, re, im, step, spread);
  else finishOf(2, base, runs, places, re, im, step, spread);
}

@inline
function finishOf(
  radix: i32, base: usize, runs: usize, places: usize, re: usize, im: usize, step: usize, spread: usize,
): void {
  for (let b: usize = 0; b < runs; b++) {
    const to = (load<i32>(places + 4 * b) as usize) * step;
    butterfly(radix, base, base + 16, ELEMENT, re + to, im + to, spread * step, 0, false);
    base += (radix as usize) * ELEMENT;
  }
}
