import { SETTINGS_FORMATS } from '../capture/settings-formats.js';
import type { CaptureSettings } from '../capture/settings-types.js';
import { UsageError } from '../job/errors.js';
import { plainLine, plainText, wordsOf } from './plain-text.js';

/** What only the maker of a plate can say. A creator, a licence and a title are needed to publish; the rest may be left out. */
export interface MakerFacts {
  readonly creator?: string;
  /** SPDX identifier, or the terms in words. */
  readonly licence?: string;
  /** 100 characters at most. */
  readonly title?: string;
  /** 7 words or more. Default: what the plate shows, and how it was made. */
  readonly description?: string;
  /** Default: what the plate shows. */
  readonly altText?: string;
  /** The copyright notice. Default: the year and the creator. */
  readonly rights?: string;
  /** How to name the source beside the picture. Default: the creator. */
  readonly credit?: string;
  /** Where the picture comes from. Default: the creator. */
  readonly source?: string;
  /** The page that states the rights. Default: that of the licence. */
  readonly statementUrl?: string;
  /** Who grants licences. Default: the creator. */
  readonly licensorName?: string;
  /** Where licences are asked for. */
  readonly licensorUrl?: string;
  /** In addition to those that follow from the plate. */
  readonly keywords?: readonly string[];
}

/** What `capture.yaml` says for the maker. */
export function makerFromSettings({ title, rights = {}, listing = {} }: CaptureSettings): MakerFacts {
  const { creator, licence, copyrightNotice, creditLine, sourceUrl, contactUrl, statementUrl, licensorName } = rights;
  return given({
    creator,
    licence,
    title,
    rights: copyrightNotice,
    credit: creditLine,
    source: sourceUrl,
    statementUrl,
    licensorName,
    licensorUrl: contactUrl,
    ...listing,
  });
}

/**
 * What was said first, completed with what was said elsewhere; keywords of both. Every text is made plain: on one line, the
 * description apart.
 *
 * @throws UsageError FACTS_MISSING, with all that is missing and where to put it; USAGE for a text that is too long or too
 *   short, and for an address that is none
 */
export function requireMaker(first: MakerFacts, second: MakerFacts = {}): PublishedMaker {
  const maker = plainMaker({ ...given({ ...second }), ...given({ ...first }) });
  const missing = NEEDED.filter(({ name }) => maker[name] === undefined);
  if (missing.length > 0) {
    const places = missing.map(({ name, option, field }) => `${name} (${option}, or ${field} in a file of --facts)`);
    const message = `only you can say, and it has not been said: ${places.join('; ')}`;
    throw new UsageError(message, undefined, 'FACTS_MISSING');
  }
  const { keywords: _, ...texts } = maker;
  for (const [name, text] of Object.entries(texts)) check(name as keyof typeof MOST, text);
  return { ...maker, keywords: [...(first.keywords ?? []), ...(second.keywords ?? [])] } as PublishedMaker;
}

/** Texts without what may not stand in a listing, on one line but for the description; an empty one counts as not given. */
export function plainMaker({ keywords = [], ...texts }: MakerFacts): MakerFacts {
  const plain = Object.entries(texts).map(([name, text]) => {
    return [name, name === 'description' ? plainText(text) : plainLine(text)] as const;
  });
  return { ...Object.fromEntries(plain.filter(([, text]) => text !== '')), keywords };
}

/** A maker who has said all that is needed. */
export type PublishedMaker = MakerFacts & Required<Pick<MakerFacts, 'creator' | 'licence' | 'title' | 'keywords'>>;

const NEEDED = [
  { name: 'creator', option: '--creator', field: 'rights.creator' },
  { name: 'licence', option: '--licence', field: 'rights.licence' },
  { name: 'title', option: '--title', field: 'title' },
] as const;

/** Characters; whatever they are, the packet of XMP then fits into one segment of a JPEG. */
const MOST = {
  title: 100,
  creator: 500,
  licence: 1000,
  description: 2000,
  altText: 1000,
  rights: 1000,
  credit: 500,
  source: 500,
  statementUrl: 500,
  licensorName: 500,
  licensorUrl: 500,
} as const;
const LEAST_WORDS = 7;

function check(name: keyof typeof MOST, text: string): void {
  const length = [...text].length;
  if (length > MOST[name]) throw new UsageError(`the ${name} has ${length} characters; ${MOST[name]} at most`);
  if (name === 'description' && wordsOf(text).length < LEAST_WORDS) {
    throw new UsageError(`the description has ${wordsOf(text).length} words; ${LEAST_WORDS} at least, or leave it out`);
  }
  if (name === 'title' && wordsOf(text).length === 0) throw new UsageError(`the title "${text}" has no word in it`);
  if (!name.endsWith('Url')) return;
  const verdict = SETTINGS_FORMATS['web-address']!(text);
  if ('fault' in verdict) throw new UsageError(`the ${name} is ${text}, which ${verdict.fault}`);
}

function given<Values extends object>(values: Values): { [Name in keyof Values]: Exclude<Values[Name], undefined> } {
  const entries = Object.entries(values).filter(([, value]) => value !== undefined);
  return Object.fromEntries(entries) as { [Name in keyof Values]: Exclude<Values[Name], undefined> };
}
