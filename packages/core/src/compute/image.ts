/**
 * A picture in linear light: one Float32 plane per channel, row-major, (x right, y down), integers are pixel centres.
 * 0 is the black level, 1 the sensor's clipping point. One plane is grey, three are red, green, blue.
 * Planes may lie in shared memory.
 */
export interface LinearImage {
  readonly width: number;
  readonly height: number;
  readonly planes: readonly Float32Array[];
}

/** One channel of a picture, or any other field sampled on a pixel grid: row by row, from the upper left. */
export interface Plane {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** A picture that is read some rows at a time. */
export interface RowSource {
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  /** Fills planes with the linear light of whole rows from row `y` on, as many as the planes hold. */
  rows(y: number, into: readonly Float32Array[]): void;
}

/** The rows of a picture that lies in memory. */
export function rowsOf({ width, height, planes }: LinearImage): RowSource {
  return {
    width,
    height,
    channels: planes.length,
    rows: (y, into) => {
      for (const [c, plane] of into.entries()) plane.set(planes[c]!.subarray(y * width, y * width + plane.length));
    },
  };
}

/** A new plane of zeros, in shared memory when asked, so that workers see it without a copy. */
export function createPlane(width: number, height: number, shared = false): Plane {
  return { width, height, data: createFloats(width * height, shared) };
}

/** A new Float32Array of zeros, in shared memory when asked. */
export function createFloats(length: number, shared = false): Float32Array {
  return shared ? new Float32Array(new SharedArrayBuffer(length * 4)) : new Float32Array(length);
}

/** Mean of the channels: the plane that registration and grading work on. */
export function luminance(image: LinearImage): Plane {
  const { width, height, planes } = image;
  const out = createPlane(width, height);
  const { data } = out;
  const [red, green, blue] = planes;
  if (red && green && blue && planes.length === 3) {
    for (let i = 0; i < data.length; i++) data[i] = (red[i]! + green[i]! + blue[i]!) / 3;
    return out;
  }
  for (const plane of planes) {
    for (let i = 0; i < data.length; i++) data[i]! += plane[i]! / planes.length;
  }
  return out;
}
