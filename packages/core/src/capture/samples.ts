import { open } from 'node:fs/promises';
import { fromFile } from 'geotiff';
import { type ByteSource, bytesOf } from './byte-source.js';
import type { ColourPlan } from './colour-plan.js';
import { readDng } from './dng-samples.js';
import { readExr } from './exr-samples.js';
import { readFits } from './fits-samples.js';
import { maximumOf, type StoredCodes, type StoredPlanes, type StoredSamples } from './linearise.js';
import { pictures } from './picture-library.js';
import { readPnm } from './pnm-samples.js';
import type { StillFormat } from './sniff.js';
import type { StillHeader } from './still-header.js';
import { registerLzw } from './tiff-lzw.js';

/** Kinds of file that are decoded here rather than by a library. */
const OWN: Partial<Readonly<Record<StillFormat, (source: ByteSource) => Promise<StoredSamples>>>> = {
  fits: readFits,
  exr: readExr,
  pnm: readPnm,
  dng: readDng,
};

/** Decodes the samples of a file whose header is known. Throws a plain `Error` when they are not what it announces. */
export async function readSamples(path: string, header: StillHeader, plan: ColourPlan): Promise<StoredSamples> {
  const own = OWN[header.format];
  if (own === undefined) {
    const integers = header.samples === 'unsigned' && maximumOf(header) <= 65535;
    return integers ? readIntegerSamples(path, header, plan) : readFloatSamples(path, header);
  }
  const file = await open(path, 'r');
  try {
    return await own(bytesOf(file, (await file.stat()).size));
  } finally {
    await file.close();
  }
}

/** Decodes 8- and 16-bit files to interleaved codes, as stored: neither turned nor, unless planned, colour-converted. */
async function readIntegerSamples(path: string, header: StillHeader, plan: ColourPlan): Promise<StoredCodes> {
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
async function readFloatSamples(path: string, header: StillHeader): Promise<StoredPlanes> {
  registerLzw();
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
