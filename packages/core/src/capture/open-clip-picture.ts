import { type ClipLayout, layoutOf, planeSize } from './clip-layout.js';
import { type ClipPlan, planClip } from './clip-light.js';
import { type ClipPicture, type PlaneWindow, type ReadRows, rowReader } from './clip-window.js';
import { applyMatrix } from './linearise.js';
import type { OpenStill } from './open-still.js';
import { orientInto } from './orient.js';
import type { RecordedEncoding } from './reading.js';
import { unreadable } from './still-header.js';

/** Opens a picture of a clip, whose codes are read band by band: light in the sRGB primaries, 1 = nominal white, upright (space 2). */
export function openClipPicture(path: string, picture: ClipPicture, asked: RecordedEncoding): OpenStill {
  const { facts } = picture;
  const layout = layoutOf(facts.pixelFormat)!;
  const plan = planClip(facts, asked);
  if (typeof plan === 'string') throw unreadable(path, new Error(plan));
  const { widthPx: width, heightPx: height, turnDeg } = facts;
  const reader = rowReader(picture, layout, plan.site[1]);
  const read: ReadRows = (y, count) => {
    try {
      return reader(y, count);
    } catch (error) {
      throw unreadable(path, error);
    }
  };
  const channels = layout.kind === 'grey' ? 1 : 3;
  const rows = rowsOfPicture(layout, plan, read, width, height);
  const told = { channels, bitsPerSample: layout.bits, curve: plan.curve, notes: plan.notes };
  const clipped = (): number => clippedShare(layout, plan, read, width, height);
  if (turnDeg === 0) return { ...told, width, height, rows, clipped };
  const upright = turned(rows, channels, width, height, turnDeg);
  const wide = turnDeg === 180 ? width : height;
  return {
    ...told,
    width: wide,
    height: (width * height) / wide,
    rows: (y, into) => {
      for (const [c, plane] of into.entries()) plane.set(upright[c]!.subarray(y * wide, y * wide + plane.length));
    },
    clipped,
  };
}

/** Rows of which the codes are held at a time. */
const BAND_ROWS = 64;

/** A component of the picture: its plane, and how far it is from one sample to the next across and down. */
function componentOf(layout: ClipLayout, c: number, width: number) {
  const { plane } = layout.components[c]!;
  return { ...layout.components[c]!, stride: planeSize(layout, plane, width, 1)[0] };
}

type Rows = (y: number, into: readonly Float32Array[]) => void;
/** Light of row `y` from the codes that are held, into planes from `at` on. */
type Row = (windows: readonly PlaneWindow[], y: number, into: readonly Float32Array[], at: number) => void;

function rowsOfPicture(layout: ClipLayout, plan: ClipPlan, read: ReadRows, width: number, height: number): Rows {
  const decode = decoderByTable(plan);
  const { black, white, matrix } = plan;
  const scale = 1 / (white - black);
  const parts = layout.components.map((_, c) => componentOf(layout, c, width));
  const light: Row = (windows, y, into, at) => {
    for (const [c, { plane, first, step, stride }] of parts.entries()) {
      const out = into[c]!;
      const { codes, top } = windows[plane]!;
      for (let x = 0, from = (y - top) * stride + first; x < width; x++, from += step)
        out[at + x] = decode((codes[from]! - black) * scale);
    }
  };
  const row = layout.kind === 'yuv' ? differenceRows(layout, plan, parts, width, height, decode) : light;
  return (y, into) => {
    const count = into[0]!.length / width;
    for (let from = 0; from < count; from += BAND_ROWS) {
      const end = Math.min(count, from + BAND_ROWS);
      const windows = read(y + from, end - from);
      for (let k = from; k < end; k++) row(windows, y + k, into, k * width);
    }
    if (matrix) applyMatrix(into, matrix);
  };
}

/**
 * Luma and differences to red, green and blue: Rec. ITU-R BT.709-6, item 3. Differences stand at fewer places than luma and
 * are interpolated linearly between them.
 */
function differenceRows(
  layout: ClipLayout,
  plan: ClipPlan,
  parts: readonly ReturnType<typeof componentOf>[],
  width: number,
  height: number,
  decode: (v: number) => number,
): Row {
  const [luma, blueDifference, redDifference] = parts as [Part, Part, Part];
  const { black, white, middle, half } = plan;
  const [red, blue] = plan.luma!;
  const green = 1 - red - blue;
  const scale = 1 / (white - black);
  const { chromaAcross: across, chromaDown: down } = layout;
  const columns = Math.ceil(width / across);
  const rows = Math.ceil(height / down);
  const [siteX, siteY] = plan.site;
  const between = Array.from({ length: 2 }, () => new Float32Array(columns));
  return (windows, y, into, at) => {
    const [r, g, b] = into as [Float32Array, Float32Array, Float32Array];
    [blueDifference, redDifference].forEach((part, d) => {
      rowBetween(
        part,
        windows[part.plane]!,
        clamp((y - siteY) / down, rows - 1),
        columns,
        rows,
        middle,
        0.5 / half,
        between[d]!,
      );
    });
    const { codes, top } = windows[luma.plane]!;
    for (let x = 0, from = (y - top) * luma.stride + luma.first; x < width; x++, from += luma.step) {
      const u = clamp((x - siteX) / across, columns - 1);
      const left = Math.floor(u);
      const share = u - left;
      const right = share > 0 ? left + 1 : left;
      const cb = between[0]![left]! * (1 - share) + between[0]![right]! * share;
      const cr = between[1]![left]! * (1 - share) + between[1]![right]! * share;
      const v = (codes[from]! - black) * scale;
      const rr = v + 2 * (1 - red) * cr;
      const bb = v + 2 * (1 - blue) * cb;
      r[at + x] = decode(rr);
      g[at + x] = decode((v - red * rr - blue * bb) / green);
      b[at + x] = decode(bb);
    }
  };
}

type Part = ReturnType<typeof componentOf>;

function rowBetween(
  { first, step, stride }: Part,
  { codes, top }: PlaneWindow,
  v: number,
  columns: number,
  rows: number,
  middle: number,
  scale: number,
  out: Float32Array,
): void {
  const above = Math.floor(v);
  const share = v - above;
  const below = Math.min(rows - 1, above + 1);
  for (
    let i = 0, a = (above - top) * stride + first, b = (below - top) * stride + first;
    i < columns;
    i++, a += step, b += step
  ) {
    out[i] = (codes[a]! * (1 - share) + codes[b]! * share - middle) * scale;
  }
}

function clamp(v: number, most: number): number {
  return Math.min(Math.max(v, 0), most);
}

/** Steps of the table over recorded values from {@link LEAST} to {@link MOST}, between which it is interpolated. */
const STEPS = 65_536;
const LEAST = -0.5;
const MOST = 1.5;

function decoderByTable({ decode }: ClipPlan): (v: number) => number {
  const table = Float32Array.from({ length: STEPS + 1 }, (_, i) => decode(LEAST + ((MOST - LEAST) * i) / STEPS));
  const perUnit = STEPS / (MOST - LEAST);
  return (v) => {
    const at = clamp((v - LEAST) * perUnit, STEPS - 1);
    const low = Math.floor(at);
    return table[low]! + (table[low + 1]! - table[low]!) * (at - low);
  };
}

/** Share of the pixels whose luma, or any of whose colours, is at white or above. */
function clippedShare(layout: ClipLayout, { white }: ClipPlan, read: ReadRows, width: number, height: number): number {
  const looked = layout.kind === 'yuv' ? [0] : layout.components.map((_, c) => c);
  const parts = looked.map((c) => componentOf(layout, c, width));
  let count = 0;
  let windows: readonly PlaneWindow[] = [];
  for (let y = 0; y < height; y++) {
    if (y % BAND_ROWS === 0) windows = read(y, Math.min(BAND_ROWS, height - y));
    for (let x = 0; x < width; x++) {
      const isClipped = parts.some(({ plane, first, step, stride }) => {
        const { codes, top } = windows[plane]!;
        return codes[(y - top) * stride + first + x * step]! >= white;
      });
      if (isClipped) count++;
    }
  }
  return count / (width * height);
}

function turned(rows: Rows, channels: number, width: number, height: number, turnDeg: number): Float32Array[] {
  const stored = Array.from({ length: channels }, () => new Float32Array(width * height));
  rows(0, stored);
  const orientation = turnDeg === 90 ? 6 : turnDeg === 180 ? 3 : 8;
  return stored.map((data) => {
    const out = new Float32Array(width * height);
    orientInto(out, { width, height, data }, orientation);
    return out;
  });
}
