import { createReadStream } from 'node:fs';
import { open, rm } from 'node:fs/promises';
import { pictures } from '../capture/picture-library.js';
import type { GridBox } from '../compute/grid-box.js';
import { throwIfAborted } from '../job/errors.js';
import { embedProfileInJpeg, srgbProfile } from '../plate/icc.js';
import { type MarkOutline, markOverlay } from './mark.js';

/** The longest side that a JPEG can have. */
export const JPEG_MOST_PX = 65535;

/** How a copy is made. */
export interface JpegOptions {
  /** The part of the plate that the light file holds. */
  readonly part: GridBox;
  /** Longest side of the copy; never more than that of the part. */
  readonly longestPx: number;
  /** 1 to 100. */
  readonly quality: number;
  /** The packet to embed. */
  readonly xmp: string;
  /** Default: none. */
  readonly mark?: MarkOutline | undefined;
  readonly signal?: AbortSignal | undefined;
}

/**
 * Writes a JPEG from a file of linear light (see {@link writeLightFile}): made smaller in linear light with a kernel that does
 * not ring (Mitchell and Netravali 1988), then 8-bit sRGB, colours at full resolution, with the sRGB profile and the packet
 * embedded. A large one is written in bands. The same light gives the same bytes.
 *
 * @returns the size in pixels
 */
export async function writeJpeg(
  lightPath: string,
  path: string,
  options: JpegOptions,
): Promise<{ readonly widthPx: number; readonly heightPx: number }> {
  const { part, longestPx, quality, xmp, mark, signal } = options;
  const packet = packetSegment(xmp);
  throwIfAborted(signal);
  const longest = Math.max(part.width, part.height);
  const size = {
    width: Math.max(1, Math.round((part.width * longestPx) / longest)),
    height: Math.max(1, Math.round((part.height * longestPx) / longest)),
  };
  const light = pictures(lightPath, { limitInputPixels: false });
  const small = longestPx < longest ? light.resize({ ...size, fit: 'fill', kernel: 'mitchell' }) : light;
  const encoding = {
    quality,
    chromaSubsampling: '4:4:4',
    // Codes that fit the picture need all of it in memory.
    optimiseCoding: size.width * size.height <= MOST_AT_ONCE,
  } as const;
  const bare = `${path}.bare`;
  try {
    const srgb = small.toColourspace('srgb');
    if (mark === undefined) await srgb.jpeg(encoding).toFile(bare);
    else {
      const { data, info } = await srgb.raw().toBuffer({ resolveWithObject: true });
      const overlay = Buffer.from(markOverlay(mark, info.width, info.height));
      const raw = { width: info.width, height: info.height, channels: 3 } as const;
      await pictures(data, { raw })
        .composite([{ input: overlay }])
        .removeAlpha()
        .jpeg(encoding)
        .toFile(bare);
    }
    await copyWithSegments(bare, path, packet, signal);
  } finally {
    await rm(bare, { force: true });
  }
  return { widthPx: size.width, heightPx: size.height };
}

const MOST_AT_ONCE = 2 ** 26;
const SIGNATURE = Buffer.from('http://ns.adobe.com/xap/1.0/\0', 'latin1');

/** XMP specification part 3, JPEG: an APP1 segment, which holds 65 504 bytes; what a maker can say is less. */
function packetSegment(xmp: string): Buffer {
  const content = Buffer.concat([SIGNATURE, Buffer.from(xmp, 'utf8')]);
  const head = Buffer.from([0xff, 0xe1, 0, 0]);
  head.writeUInt16BE(content.length + 2, 2);
  return Buffer.concat([head, content]);
}

/** Bytes of the mark that a JPEG begins with; the encoder lets its tables follow at once. */
const START_BYTES = 2;

/** Puts the packet and the profile where segments begin; what follows is copied as it is. */
async function copyWithSegments(
  from: string,
  to: string,
  packet: Buffer,
  signal: AbortSignal | undefined,
): Promise<void> {
  const out = await open(to, 'wx');
  try {
    let first = true;
    for await (const block of createReadStream(from, { highWaterMark: 1 << 20 }) as AsyncIterable<Buffer>) {
      throwIfAborted(signal);
      const withProfile = first ? embedProfileInJpeg(block, srgbProfile()) : block;
      const parts = first ? [withProfile.subarray(0, START_BYTES), packet, withProfile.subarray(START_BYTES)] : [block];
      for (const part of parts) await out.writeFile(part);
      first = false;
    }
    await out.sync();
  } finally {
    await out.close();
  }
}
