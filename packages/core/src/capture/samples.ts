import { fromFile } from 'geotiff';
import type { ColourPlan } from './colour-plan.js';
import type { StoredCodes, StoredSamples } from './linearise.js';
import { pictures } from './picture-library.js';
import type { StillHeader } from './still-header.js';

/** Decodes 8- and 16-bit files to interleaved codes, as stored: neither turned nor, unless planned, colour-converted. */
export async function readIntegerSamples(path: string, header: StillHeader, plan: ColourPlan): Promise<StoredCodes> {
  const deep = header.bitsPerSample === 16;
  const grey = header.channels === 1;
  const { data, info } = await pictures(path, {
    failOn: 'warning',
    limitInputPixels: false,
    ignoreIcc: !plan.viaColourEngine,
    sequentialRead: true,
  })
    .toColourspace(grey ? (deep ? 'grey16' : 'b-w') : deep ? 'rgb16' : 'srgb')
    .raw({ depth: deep ? 'ushort' : 'uchar' })
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  if (width !== header.storedWidthPx || height !== header.storedHeightPx || channels < header.channels) {
    throw new Error(`it decodes to ${width} x ${height} x ${channels}, which its header does not announce`);
  }
  const count = width * height * channels;
  return { codes: deep ? new Uint16Array(data.buffer, data.byteOffset, count) : data, stride: channels };
}

/** Reads 32-bit integers and floats, chunky or planar, to one array per channel. */
export async function readFloatSamples(path: string, header: StillHeader): Promise<StoredSamples> {
  const file = await fromFile(path);
  try {
    const rasters = await (await file.getImage(0)).readRasters({ interleave: false });
    const planes = [...rasters] as ArrayLike<number>[];
    const expected = header.storedWidthPx * header.storedHeightPx;
    if (planes.some((plane) => plane.length !== expected)) throw new Error('it holds fewer samples than it announces');
    return { planes };
  } finally {
    file.close();
  }
}
