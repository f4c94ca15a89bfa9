import type { Place } from './limb-measure.js';
import { linearised, type RadialProfile } from './step-profile.js';

/** [sky, step, offset, shading, ln blur] of a place; the light in units of the typical step. */
export const PARTS = 5;
export const OFFSET = 2;
export const SHADING = 3;
export const BLUR = 4;

/** A place of the limb, linearised: −2·ln(likelihood) of its parts θ is θᵀ·H·θ − 2·θᵀ·b but for a constant. */
export interface Block {
  readonly information: Float64Array;
  readonly pull: Float64Array;
}

/** The parts that a place's own fit found. */
export function ownParts({ fit }: Place, unit: number): Float64Array {
  return Float64Array.of(fit.sky / unit, fit.step / unit, fit.offsetPx, fit.shading, Math.log(fit.blurPx));
}

/** Linearises a place at the parts `at`; its profile holds inverse variances for counts. */
export function blockOf(profile: RadialProfile, at: Float64Array, unit: number): Block {
  const blur = Math.exp(at[4]!);
  const step = { sky: at[0]! * unit, step: at[1]! * unit, offset: at[2]!, shading: at[3]!, blur };
  const { normal, right } = linearised(profile, step, PARTS);
  const scale = [unit, unit, 1, 1, blur];
  const information = new Float64Array(PARTS * PARTS);
  const pull = new Float64Array(PARTS);
  for (let i = 0; i < PARTS; i++) {
    pull[i]! += right[i]! * scale[i]!;
    for (let j = 0; j < PARTS; j++) {
      const entry = normal[Math.max(i, j) * PARTS + Math.min(i, j)]!;
      information[i * PARTS + j] = entry * scale[i]! * scale[j]!;
      pull[i]! += information[i * PARTS + j]! * at[j]!;
    }
  }
  return { information, pull };
}

/** A block once the scatter D of the parts about their means is added: M = (H⁻¹ + D)⁻¹ and c = (I + H·D)⁻¹·b. */
export function marginal({ information, pull }: Block, scatter: Float64Array): Block {
  // Gauss–Jordan on [I + H·D | H, b]: the pivots stay away from 0, since H·D is similar to a positive semidefinite matrix.
  const width = 2 * PARTS + 1;
  const rows = new Float64Array(PARTS * width);
  for (let i = 0; i < PARTS; i++) {
    for (let j = 0; j < PARTS; j++) {
      const h = information[i * PARTS + j]!;
      rows[i * width + j] = (i === j ? 1 : 0) + h * scatter[j]!;
      rows[i * width + PARTS + j] = h;
    }
    rows[i * width + 2 * PARTS] = pull[i]!;
  }
  for (let p = 0; p < PARTS; p++) {
    let best = p;
    for (let i = p + 1; i < PARTS; i++) {
      if (Math.abs(rows[i * width + p]!) > Math.abs(rows[best * width + p]!)) best = i;
    }
    for (let j = 0; j < width; j++) {
      const held = rows[p * width + j]!;
      rows[p * width + j] = rows[best * width + j]!;
      rows[best * width + j] = held;
    }
    const pivot = rows[p * width + p]!;
    for (let j = p; j < width; j++) rows[p * width + j]! /= pivot;
    for (let i = 0; i < PARTS; i++) {
      const share = rows[i * width + p]!;
      if (i === p || share === 0) continue;
      for (let j = p; j < width; j++) rows[i * width + j]! -= share * rows[p * width + j]!;
    }
  }
  const out = { information: new Float64Array(PARTS * PARTS), pull: new Float64Array(PARTS) };
  for (let i = 0; i < PARTS; i++) {
    for (let j = 0; j < PARTS; j++) out.information[i * PARTS + j] = rows[i * width + PARTS + j]!;
    out.pull[i] = rows[i * width + 2 * PARTS]!;
  }
  return out;
}
