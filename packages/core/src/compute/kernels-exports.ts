/** Memory of a WebAssembly module. */
export interface KernelMemory {
  readonly buffer: ArrayBuffer;
  /** By so many pages of 64 KiB; throws RangeError when there are no more. */
  readonly grow: (pages: number) => number;
}

/** What the WebAssembly module exports. Addresses and sizes in bytes unless said; see packages/core/kernels. */
export interface KernelExports {
  readonly memory: KernelMemory;
  readonly freeFrom: () => number;
  readonly fftForward: (
    src: number,
    srcWidth: number,
    srcHeight: number,
    width: number,
    height: number,
    rowPlan: number,
    columnPlan: number,
    turns: number,
    spectrum: number,
    scratch: number,
  ) => void;
  readonly fftInverse: (
    spectrum: number,
    width: number,
    height: number,
    rowPlan: number,
    columnPlan: number,
    turns: number,
    dst: number,
    scratch: number,
  ) => void;
  readonly crossPower: (
    a: number,
    b: number,
    rowBytes: number,
    columns: number,
    height: number,
    bandX: number,
    bandY: number,
    whitening: number,
    floor: number,
    powers: number,
  ) => void;
  readonly pairSums: (
    fixed: number,
    width: number,
    height: number,
    fixedVariance: number,
    moving: number,
    movingWidth: number,
    movingVariance: number,
    xx: number,
    xy: number,
    yx: number,
    yy: number,
    tx: number,
    ty: number,
    gain: number,
    offset: number,
    taps: number,
    steps: number,
    side: number,
    columns: number,
    ranges: number,
    sums: number,
    scratch: number,
  ) => void;
  readonly convolve: (
    src: number,
    width: number,
    height: number,
    half: number,
    radius: number,
    dst: number,
    scratch: number,
  ) => void;
  readonly halve: (src: number, width: number, height: number, dst: number) => void;
  readonly gradient: (src: number, width: number, height: number, gx: number, gy: number) => void;
  readonly padPlane: (src: number, width: number, height: number, before: number, after: number, dst: number) => void;
  readonly footprint: (
    mask: number,
    width: number,
    height: number,
    before: number,
    count: number,
    dst: number,
    scratch: number,
  ) => void;
  readonly resampleCubic: (
    padded: number,
    width: number,
    height: number,
    foot: number,
    xx: number,
    xy: number,
    yx: number,
    yy: number,
    tx: number,
    ty: number,
    dst: number,
    coverage: number,
    dstWidth: number,
    dstHeight: number,
  ) => void;
  readonly resampleSix: (
    src: number,
    width: number,
    height: number,
    foot: number,
    xx: number,
    xy: number,
    yx: number,
    yy: number,
    tx: number,
    ty: number,
    dst: number,
    coverage: number,
    dstWidth: number,
    dstHeight: number,
    taps: number,
    steps: number,
    scratch: number,
  ) => void;
  readonly accumulate: (
    frame: number,
    planeBytes: number,
    channels: number,
    frameWidth: number,
    frameHeight: number,
    frameLeft: number,
    frameTop: number,
    stride: number,
    xx: number,
    xy: number,
    yx: number,
    yy: number,
    tx: number,
    ty: number,
    sums: number,
    sumBytes: number,
    x0: number,
    y0: number,
    columns: number,
    rows: number,
    frameWeight: number,
    border: number,
    feather: number,
    taps: number,
    steps: number,
    scratch: number,
    bend: number,
    bendColumns: number,
    bendRows: number,
    bendX: number,
    bendY: number,
    bendStep: number,
    isWeighed: boolean,
    offsets: number,
  ) => void;
  /** Returns the number of pixels that took part. */
  readonly poseSums: (
    fixed: number,
    width: number,
    height: number,
    gradientX: number,
    gradientY: number,
    fixedCoverage: number,
    moving: number,
    movingWidth: number,
    movingCoverage: number,
    weight: number,
    xx: number,
    xy: number,
    yx: number,
    yy: number,
    tx: number,
    ty: number,
    left: number,
    top: number,
    right: number,
    bottom: number,
    step: number,
    windowX: number,
    windowY: number,
    parameters: number,
    cx: number,
    cy: number,
    reach: number,
    sums: number,
    scratch: number,
  ) => number;
  /** Returns 0 when the patch is not covered. */
  readonly patchSums: (
    fixed: number,
    cover: number,
    moving: number,
    width: number,
    height: number,
    left: number,
    top: number,
    side: number,
    step: number,
    dx: number,
    dy: number,
    window: number,
    sums: number,
    scratch: number,
  ) => number;
  readonly takeOut: (
    sums: number,
    weights: number,
    cover: number,
    own: number,
    width: number,
    height: number,
    ownWeight: number,
    border: number,
    feather: number,
    least: number,
  ) => void;
  readonly rootLight: (src: number, cover: number, count: number, dst: number) => void;
  readonly bandOf: (
    fine: number,
    coarse: number,
    cover: number,
    fineCover: number,
    coarseCover: number,
    count: number,
  ) => void;
  readonly contrastOf: (energy: number, cover: number, count: number) => void;
  readonly evenOut: (detail: number, contrast: number, count: number, floor: number) => void;
  readonly double: (src: number, width: number, height: number, dst: number, scratch: number) => void;
  readonly binLight: (
    planes: number,
    planeBytes: number,
    channels: number,
    width: number,
    factor: number,
    rows: number,
    dst: number,
    scratch: number,
  ) => void;
  readonly blockRow: (
    src: number,
    width: number,
    columns: number,
    side: number,
    clipping: number,
    means: number,
    squares: number,
    clipped: number,
    scratch: number,
  ) => void;
  /** Returns the number of pixels found. */
  readonly standOut: (
    planes: number,
    planeBytes: number,
    channels: number,
    width: number,
    rows: number,
    margin: number,
    steepness: number,
    first: number,
    out: number,
    most: number,
  ) => number;
}
