import { stat } from 'node:fs/promises';
import { InputError } from '../job/errors.js';
import { mapBounded } from './bounded.js';
import { type Capture, type FrameFile, filesOf } from './pass.js';

/**
 * Makes sure, before a plate is delivered, that every frame file is still the one that was found at the start: the
 * hashes and poses of the sidecar would not be those of the pixels otherwise. Looks at size and time of last change.
 *
 * @throws InputError CAPTURE_CHANGED, naming the first frame that has changed or gone
 */
export async function refuseChanged(capture: Capture, signal?: AbortSignal): Promise<void> {
  const frames = filesOf(capture);
  const words = await mapBounded(frames, OPEN_FILES, changeOf, signal);
  const at = words.findIndex((w) => w !== undefined);
  if (at < 0) return;
  const more = words.filter((w) => w !== undefined).length - 1;
  throw new InputError(
    'CAPTURE_CHANGED',
    `${frames[at]!.path} ${words[at]} while it was being used${more > 0 ? `, and ${more} more with it` : ''}. No plate was written. Run again once nothing writes into the capture.`,
  );
}

const OPEN_FILES = 16;

async function changeOf(frame: FrameFile): Promise<string | undefined> {
  const now = await stat(frame.path).catch(() => undefined);
  if (!now) return 'has gone';
  const same = now.size === frame.sizeBytes && now.mtime.toISOString() === frame.modified;
  return same ? undefined : 'has changed';
}
