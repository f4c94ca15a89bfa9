import { promisify } from 'node:util';
import { deflate } from 'node:zlib';
import { throwIfAborted } from '../job/errors.js';

/** Blocks that are compressed beside each other and come out in the order in which they went in. */
export interface OrderedDeflate<Tag> {
  /** Takes a block, and waits while {@link AT_ONCE} are under way. */
  push(raw: Buffer, tag: Tag): Promise<void>;
  /** Waits for those that are under way. */
  finish(): Promise<void>;
}

/** Blocks at once; a fixed figure, so that memory is bounded. */
const AT_ONCE = 8;

/**
 * zlib's level. Samples with their noise hardly repeat, so that all levels give about the same size, within 2 %; this
 * one takes the least time.
 */
const LEVEL = 1;

const compress = promisify(deflate) as (
  data: Buffer,
  options: { readonly level: number; readonly chunkSize: number },
) => Promise<Buffer>;

/** Gives each compressed block, with what it was before and its tag, to `write`. */
export function orderedDeflate<Tag>(
  write: (compressed: Buffer, tag: Tag, raw: Buffer) => Promise<void>,
  signal?: AbortSignal,
): OrderedDeflate<Tag> {
  const waiting: { readonly made: Promise<Buffer>; readonly raw: Buffer; readonly tag: Tag }[] = [];
  const writeOldest = async (): Promise<void> => {
    const { made, raw, tag } = waiting.shift()!;
    await write(await made, tag, raw);
  };
  return {
    push: async (raw, tag) => {
      throwIfAborted(signal);
      // One chunk takes the whole block: many small ones would each go through the main thread.
      const made = compress(raw, { level: LEVEL, chunkSize: raw.length + (raw.length >> 8) + 1024 });
      made.catch(() => undefined);
      waiting.push({ made, raw, tag });
      if (waiting.length >= AT_ONCE) await writeOldest();
    },
    finish: async () => {
      while (waiting.length > 0) await writeOldest();
    },
  };
}
