import type { CaptureSettings } from '../capture/settings-types.js';
import { knownFields } from './fields.js';
import { keywordsOf } from './keywords.js';
import { makerFromSettings, plainMaker } from './maker.js';
import { plateFacts } from './plate-facts.js';
import { storyOf, type ToldPlate } from './plate-story.js';
import { type XmpFields, xmpPacket } from './xmp-packet.js';

/** Throws `UsageError` for keywords that no packet could hold, before any work is done. */
export function requireKeywords({ body = 'moon', listing }: CaptureSettings): void {
  keywordsOf({ body }, listing?.keywords);
}

/**
 * The packet that a master carries from the start: what the plate tells of itself, and what `capture.yaml` says of title,
 * rights and listing. Nothing tells where the camera stood or which one it was. The same plate and words give the same
 * bytes.
 */
export function masterXmp(settings: CaptureSettings, told: ToldPlate): string {
  return xmpPacket(plateFields(settings, told));
}

/** What such a packet holds. */
export function plateFields(settings: CaptureSettings, told: ToldPlate): XmpFields {
  const story = storyOf(told);
  return knownFields(story, plateFacts(story, settings.body), plainMaker(makerFromSettings(settings)));
}
