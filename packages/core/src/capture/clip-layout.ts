/** Where one component of a pixel lies among the planes of a decoded frame. Counts are samples. */
export interface ClipComponent {
  readonly plane: number;
  /** First sample of a row, and the way from one to the next. */
  readonly first: number;
  readonly step: number;
}

/** How the codes of a clip's frames lie in memory: FFmpeg's pixel format, taken apart. Alpha is passed over. */
export interface ClipLayout {
  readonly kind: 'grey' | 'rgb' | 'yuv';
  /** Bits that a code has, and bytes that it takes. */
  readonly bits: number;
  readonly bytes: 1 | 2;
  readonly bigEndian: boolean;
  /** Luma; or red, green, blue; or luma, blue and red difference. */
  readonly components: readonly ClipComponent[];
  /** Width and height of luma by those of the differences: 1, 2 or 4. */
  readonly chromaAcross: number;
  readonly chromaDown: number;
  /** Whether the name itself says that codes use the full range. */
  readonly fullRange: boolean;
  /** Samples of a row of each plane that is kept, for each `per` columns; and rows of it for each `down` rows. */
  readonly planes: readonly { readonly samples: number; readonly per: number; readonly down: number }[];
}

/** Takes FFmpeg's name of a pixel format apart; undefined for those that are not read: palettes, bits, floats, hardware. */
export function layoutOf(pixelFormat: string): ClipLayout | undefined {
  return planarYuv(pixelFormat) ?? grey(pixelFormat) ?? planarRgb(pixelFormat) ?? packed(pixelFormat);
}

/** Samples of a row of plane `p`, and the number of its rows, in a frame of a size. */
export function planeSize(layout: ClipLayout, p: number, width: number, height: number): [number, number] {
  const { samples, per, down } = layout.planes[p]!;
  return [samples * Math.ceil(width / per), Math.ceil(height / down)];
}

/** Bytes of a frame whose planes lie one after the other without gaps. */
export function frameBytes(layout: ClipLayout, width: number, height: number): number {
  return layout.planes.reduce((sum, _, p) => {
    const [samples, rows] = planeSize(layout, p, width, height);
    return sum + samples * rows * layout.bytes;
  }, 0);
}

const ALONE = { chromaAcross: 1, chromaDown: 1, fullRange: false } as const;

function planarYuv(name: string): ClipLayout | undefined {
  const found = /^yuv(a|j)?(420|422|444|440|411|410)p(\d+)?(le|be)?$/.exec(name);
  if (!found) return undefined;
  const [, variant, sampling, bits, order] = found;
  const [across, down] = SAMPLING[sampling as keyof typeof SAMPLING];
  const whole = { samples: 1, per: 1, down: 1 };
  const part = { samples: 1, per: across, down };
  return {
    ...depthOf(bits, order),
    kind: 'yuv',
    components: [0, 1, 2].map((plane) => ({ plane, first: 0, step: 1 })),
    chromaAcross: across,
    chromaDown: down,
    fullRange: variant === 'j',
    planes: [whole, part, part],
  };
}

const SAMPLING = {
  '444': [1, 1],
  '440': [1, 2],
  '422': [2, 1],
  '420': [2, 2],
  '411': [4, 1],
  '410': [4, 4],
} as const;

function grey(name: string): ClipLayout | undefined {
  const found = /^gray(\d+)?(le|be)?$/.exec(name);
  if (!found) return undefined;
  const plane = { samples: 1, per: 1, down: 1 };
  return { ...ALONE, ...depthOf(found[1], found[2]), kind: 'grey', components: [at(0)], planes: [plane] };
}

function planarRgb(name: string): ClipLayout | undefined {
  const found = /^gbra?p(\d+)?(le|be)?$/.exec(name);
  if (!found) return undefined;
  const plane = { samples: 1, per: 1, down: 1 };
  const components = [2, 0, 1].map((p) => ({ plane: p, first: 0, step: 1 }));
  return { ...ALONE, ...depthOf(found[1], found[2]), kind: 'rgb', components, planes: [plane, plane, plane] };
}

/** Samples of a pixel, or of two of them, in the order in which they lie: x and a are passed over. */
const PACKED: Readonly<Record<string, readonly [string, number]>> = {
  rgb24: ['rgb', 8],
  bgr24: ['bgr', 8],
  rgb0: ['rgbx', 8],
  bgr0: ['bgrx', 8],
  '0rgb': ['xrgb', 8],
  '0bgr': ['xbgr', 8],
  rgba: ['rgba', 8],
  bgra: ['bgra', 8],
  argb: ['argb', 8],
  abgr: ['abgr', 8],
  rgb48: ['rgb', 16],
  bgr48: ['bgr', 16],
  rgba64: ['rgba', 16],
  bgra64: ['bgra', 16],
  yuyv422: ['yuyv', 8],
  uyvy422: ['uyvy', 8],
  yvyu422: ['yvyu', 8],
};

function packed(name: string): ClipLayout | undefined {
  const [, plain, order] = /^(.*?)(le|be)?$/.exec(name)!;
  const found = PACKED[plain!];
  if (!found) return undefined;
  const [samples, bits] = found;
  const isYuv = samples.includes('u');
  const components = [...(isYuv ? 'yuv' : 'rgb')].map((letter) => ({
    plane: 0,
    first: samples.indexOf(letter),
    step: isYuv && letter === 'y' ? 2 : samples.length,
  }));
  return {
    ...depthOf(String(bits), order),
    kind: isYuv ? 'yuv' : 'rgb',
    components,
    chromaAcross: isYuv ? 2 : 1,
    chromaDown: 1,
    fullRange: false,
    planes: [{ samples: samples.length, per: isYuv ? 2 : 1, down: 1 }],
  };
}

function depthOf(
  bits: string | undefined,
  order: string | undefined,
): Pick<ClipLayout, 'bits' | 'bytes' | 'bigEndian'> {
  const depth = Number(bits ?? 8);
  return { bits: depth, bytes: depth > 8 ? 2 : 1, bigEndian: order === 'be' };
}

function at(plane: number): ClipComponent {
  return { plane, first: 0, step: 1 };
}
