import { createHash } from 'node:crypto';
import type { Site } from '../sky/types.js';
import { VERSION } from '../version.js';
import { keywordsOf } from './keywords.js';
import type { Licence } from './licences.js';
import type { CommonFields } from './listing.js';
import type { MakerFacts, PublishedMaker } from './maker.js';
import { plainLine } from './plain-text.js';
import { type PlateFacts, timesOf } from './plate-facts.js';
import type { PlateStory } from './plate-story.js';
import { altTextOf, describePlate } from './words.js';
import type { XmpFields } from './xmp-packet.js';

/** All that a published picture says of itself, with what follows where the maker was silent. */
export function publishedFields(
  record: PlateStory,
  facts: PlateFacts,
  maker: PublishedMaker,
  licence: Licence,
  site?: Site,
): CommonFields {
  const { creator, title, licensorName = creator, licensorUrl, statementUrl = licence.url ?? undefined } = maker;
  const free = licence.id === 'CC0-1.0';
  return {
    title,
    headline: title,
    description: maker.description ?? describePlate(facts, record),
    keywords: keywordsOf(facts, maker.keywords, record.synthetic),
    creator,
    rights: maker.rights ?? (free ? `${creator} has waived all rights (CC0 1.0)` : notice(creator, facts)),
    credit: maker.credit ?? creator,
    source: maker.source ?? creator,
    marked: !free,
    usageTerms: licence.url === null ? plainLine(maker.licence) : `${licence.name}, ${licence.url}`,
    copyrightOwner: creator,
    licensor: { name: licensorName, ...(licensorUrl !== undefined && { url: licensorUrl }) },
    creatorTool: CREATOR_TOOL,
    digitalSourceType: sourceTypeOf(record),
    altText: maker.altText ?? altTextOf(facts, record),
    ...(facts.takenUtc !== undefined && { dateCreated: facts.takenUtc }),
    ...(statementUrl !== undefined && { webStatement: statementUrl }),
    ...(site && { site }),
  };
}

/** What is known of a plate that is not published yet: what its maker has said so far, and what follows from the plate. */
export function knownFields(record: PlateStory, facts: PlateFacts, maker: MakerFacts): XmpFields {
  const { creator, title, rights, credit, source, statementUrl, licensorName, licensorUrl } = maker;
  return {
    ...(title !== undefined && { title, headline: title }),
    description: maker.description ?? describePlate(facts, record),
    keywords: keywordsOf(facts, maker.keywords, record.synthetic),
    ...(creator !== undefined && { creator, copyrightOwner: creator }),
    ...(rights !== undefined && { rights }),
    ...(credit !== undefined && { credit }),
    ...(source !== undefined && { source }),
    ...(maker.licence !== undefined && { usageTerms: maker.licence }),
    ...(statementUrl !== undefined && { webStatement: statementUrl }),
    ...(licensorName !== undefined && { licensor: { name: licensorName, ...(licensorUrl && { url: licensorUrl }) } }),
    ...(facts.takenUtc !== undefined && { dateCreated: facts.takenUtc }),
    creatorTool: CREATOR_TOOL,
    digitalSourceType: sourceTypeOf(record),
    altText: maker.altText ?? altTextOf(facts, record),
  };
}

const CREATOR_TOOL: string = `plenilune ${VERSION}`;

/** A name for one picture of one plate in the form of a UUID of version 8 (RFC 9562): the same whenever it is made anew. */
export function imageGuid(plateSha256: string, name: string): string {
  const digits = createHash('sha256').update(`plenilune picture\n${plateSha256}\n${name}\n`).digest('hex').split('');
  digits[12] = '8';
  digits[16] = ((Number.parseInt(digits[16]!, 16) & 3) | 8).toString(16);
  const hex = digits.join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20, 32)].join('-');
}

/** Frames further apart than any one night are of several sessions. */
const SESSION_MS = 16 * 3600_000;
const VOCABULARY = 'http://cv.iptc.org/newscodes/digitalsourcetype/';

function sourceTypeOf(record: PlateStory): string {
  if (record.synthetic) return `${VOCABULARY}algorithmicMedia`;
  const span = timesOf(record);
  const several = span !== undefined && span.lastMs - span.firstMs > SESSION_MS;
  return `${VOCABULARY}${several ? 'compositeCapture' : 'computationalCapture'}`;
}

function notice(creator: string, { takenUtc }: PlateFacts): string {
  return takenUtc === undefined ? `© ${creator}` : `© ${takenUtc.slice(0, 4)} ${creator}`;
}
