import type { Capture } from '../capture/pass.js';
import type { Guide } from './place-stage.js';

/** The picture of the whole disc that a capture holds, as placing takes it; null where there is none. */
export function guideIn({ guide }: Capture, hashes: ReadonlyMap<string, string>): Guide | null {
  if (!guide) return null;
  const { item, path, encoding } = guide;
  return { item, path, sha256: hashes.get(item)!, curve: encoding.curve };
}
