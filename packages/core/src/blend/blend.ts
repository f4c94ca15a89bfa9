import { createPlane, type LinearImage, type Plane } from '../compute/image.js';
import { expand, fillUncovered, reduce } from './pyramid.js';

/** A strip on the plate: light, and how much of it there is (0 where there is none). */
export interface BlendStrip {
  /** Place of its first pixel on the plate. */
  readonly x0: number;
  readonly y0: number;
  readonly image: LinearImage;
  /** Sum of the weights of the frames that made each pixel. */
  readonly weight: Plane;
}

/** Result of {@link blendStrips}. */
export interface Blended {
  readonly image: LinearImage;
  /** 1 where at least one strip has light, 0 elsewhere. The image is 0 there. */
  readonly coverage: Plane;
  /** Index of the strip that each pixel belongs to; {@link NOBODY} where none has light. */
  readonly owner: Uint8Array;
  /** Pyramid levels over which the strips were joined. */
  readonly levels: number;
}

/** Owner of a pixel without light. */
export const NOBODY = 255;

/**
 * Joins strips band by band (Burt & Adelson 1983): every pixel belongs to the strip with the most weight there, and
 * each band of detail crosses from one strip to the next over a width like its own wavelength. Strips are continued
 * beyond their coverage first, and masks are divided by their sum, so that black never bleeds in at an edge.
 * The coarsest band is no wider than the widest place that two strips share.
 */
export function blendStrips(strips: readonly BlendStrip[], width: number, height: number): Blended {
  const coverage = createPlane(width, height);
  const { owner, second } = ownership(strips, width, height, coverage);
  const levels = levelsFor(strips, width, height);
  const channels = strips[0]!.image.planes.length;
  const masks = strips.map((_, k) => maskOf(owner, k, width, height));
  const planes: Float32Array[] = [];
  for (let c = 0; c < channels; c++) {
    const plane =
      strips.length === 1
        ? placed(strips[0]!, c, width, height).plane
        : joinChannel(strips, c, owner, second, masks, levels, width, height);
    for (let i = 0; i < plane.data.length; i++) if (coverage.data[i] === 0) plane.data[i] = 0;
    planes.push(plane.data);
  }
  return { image: { width, height, planes }, coverage, owner, levels: strips.length === 1 ? 0 : levels };
}

const MOST_LEVELS = 7;

/** For each pixel the strip with the most weight, and the one with the next most. */
function ownership(
  strips: readonly BlendStrip[],
  width: number,
  height: number,
  coverage: Plane,
): { owner: Uint8Array; second: Uint8Array } {
  const owner = new Uint8Array(width * height).fill(NOBODY);
  const second = new Uint8Array(width * height).fill(NOBODY);
  const most = new Float32Array(width * height);
  const next = new Float32Array(width * height);
  strips.forEach((strip, k) => {
    const { weight } = strip;
    for (let y = 0; y < weight.height; y++) {
      for (let x = 0; x < weight.width; x++) {
        const i = (y + strip.y0) * width + x + strip.x0;
        const w = weight.data[y * weight.width + x]!;
        if (!(w > 0)) continue;
        coverage.data[i] = 1;
        if (w > most[i]!) {
          next[i] = most[i]!;
          second[i] = owner[i]!;
          most[i] = w;
          owner[i] = k;
        } else if (w > next[i]!) {
          next[i] = w;
          second[i] = k;
        }
      }
    }
  });
  return { owner, second };
}

/** Levels whose widest crossing still fits into the widest place of the overlaps. */
function levelsFor(strips: readonly BlendStrip[], width: number, height: number): number {
  const count = new Uint8Array(width * height);
  for (const strip of strips) {
    for (let y = 0; y < strip.weight.height; y++) {
      for (let x = 0; x < strip.weight.width; x++) {
        if (strip.weight.data[y * strip.weight.width + x]! > 0) count[(y + strip.y0) * width + x + strip.x0]!++;
      }
    }
  }
  const halfWidth = deepest(count, width, height);
  return Math.max(1, Math.min(MOST_LEVELS, Math.floor(Math.log2(Math.max(2, halfWidth)))));
}

/** Largest city-block distance from a pixel that two strips share to one that they do not. */
function deepest(count: Uint8Array, width: number, height: number): number {
  const d = new Uint16Array(count.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (count[i]! >= 2) d[i] = 1 + Math.min(x > 0 ? d[i - 1]! : 0, y > 0 ? d[i - width]! : 0, 65000);
    }
  }
  let most = 0;
  for (let y = height - 1; y >= 0; y--) {
    for (let x = width - 1; x >= 0; x--) {
      const i = y * width + x;
      if (count[i]! < 2) continue;
      d[i] = Math.min(d[i]!, 1 + (x < width - 1 ? d[i + 1]! : 0), 1 + (y < height - 1 ? d[i + width]! : 0));
      most = Math.max(most, d[i]!);
    }
  }
  return most;
}

function maskOf(owner: Uint8Array, k: number, width: number, height: number): Plane {
  const mask = createPlane(width, height);
  for (let i = 0; i < owner.length; i++) mask.data[i] = owner[i] === k ? 1 : 0;
  return mask;
}

function placed(strip: BlendStrip, channel: number, width: number, height: number): { plane: Plane; coverage: Plane } {
  const plane = createPlane(width, height);
  const coverage = createPlane(width, height);
  const { weight, image } = strip;
  for (let y = 0; y < weight.height; y++) {
    for (let x = 0; x < weight.width; x++) {
      const j = y * weight.width + x;
      if (!(weight.data[j]! > 0)) continue;
      const i = (y + strip.y0) * width + x + strip.x0;
      plane.data[i] = image.planes[channel]![j]!;
      coverage.data[i] = 1;
    }
  }
  return { plane, coverage };
}

/**
 * A strip continued beyond its own coverage by what the others show there, so that a limb or terminator that crosses
 * the seam is a limb in every band, plus a smooth continuation of the difference between them where they overlap, so
 * that no step lies along the end of the coverage. Beyond all strips it goes on smoothly.
 */
function continued(plane: Plane, coverage: Plane, others: { readonly plane: Plane; readonly coverage: Plane }): Plane {
  const { width, height } = plane;
  const difference = createPlane(width, height);
  const shared = createPlane(width, height);
  const out = createPlane(width, height);
  for (let i = 0; i < shared.data.length; i++) {
    shared.data[i] = coverage.data[i]! * others.coverage.data[i]!;
    difference.data[i] = shared.data[i]! * (plane.data[i]! - others.plane.data[i]!);
  }
  const offset = fillUncovered(difference, shared);
  const known = createPlane(width, height);
  for (let i = 0; i < out.data.length; i++) {
    known.data[i] = Math.max(coverage.data[i]!, others.coverage.data[i]!);
    if (coverage.data[i]! > 0) out.data[i] = plane.data[i]!;
    else if (known.data[i]! > 0) out.data[i] = others.plane.data[i]! + offset.data[i]!;
  }
  return fillUncovered(out, known);
}

/** What the strips other than one show, the one with the most weight first. */
function othersThan(
  k: number,
  strips: readonly { readonly plane: Plane }[],
  owner: Uint8Array,
  second: Uint8Array,
  width: number,
  height: number,
): { plane: Plane; coverage: Plane } {
  const plane = createPlane(width, height);
  const coverage = createPlane(width, height);
  for (let i = 0; i < owner.length; i++) {
    const other = owner[i] === k ? second[i]! : owner[i]!;
    if (other === NOBODY) continue;
    plane.data[i] = strips[other]!.plane.data[i]!;
    coverage.data[i] = 1;
  }
  return { plane, coverage };
}

function joinChannel(
  strips: readonly BlendStrip[],
  channel: number,
  owner: Uint8Array,
  second: Uint8Array,
  masks: readonly Plane[],
  levels: number,
  width: number,
  height: number,
): Plane {
  const tops: Plane[] = [];
  const sums: Plane[] = [];
  const onPlate = strips.map((strip) => placed(strip, channel, width, height));
  onPlate.forEach(({ plane, coverage }, k) => {
    const others = othersThan(k, onPlate, owner, second, width, height);
    let image = continued(plane, coverage, others);
    let mask = masks[k]!;
    for (let level = 0; level <= levels; level++) {
      const next = level < levels ? reduce(image) : undefined;
      const low = next && expand(next, image.width, image.height);
      tops[level] ??= createPlane(image.width, image.height);
      sums[level] ??= createPlane(image.width, image.height);
      const top = tops[level]!.data;
      const sum = sums[level]!.data;
      for (let i = 0; i < top.length; i++) {
        top[i]! += mask.data[i]! * (image.data[i]! - (low ? low.data[i]! : 0));
        sum[i]! += mask.data[i]!;
      }
      if (!next) break;
      image = next;
      mask = reduce(mask);
    }
  });
  let out: Plane | undefined;
  for (let level = levels; level >= 0; level--) {
    const top = tops[level]!;
    const up = out && expand(out, top.width, top.height);
    for (let i = 0; i < top.data.length; i++) {
      top.data[i] = (sums[level]!.data[i]! > 0 ? top.data[i]! / sums[level]!.data[i]! : 0) + (up ? up.data[i]! : 0);
    }
    out = top;
  }
  return out!;
}
