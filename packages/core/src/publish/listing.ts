import type { LeftOut } from '../job/errors.js';
import { csvTable } from './csv.js';
import type { Licence } from './licences.js';
import type { XmpFields } from './xmp-packet.js';

/** What a picture of a pack is for. */
export type PackKind = 'master' | 'full' | 'sized' | 'preview' | 'thumbnail';

/** A picture of a pack. */
export interface PackPicture {
  readonly file: string;
  readonly kind: PackKind;
  readonly format: 'TIFF' | 'JPEG';
  readonly bitsPerSample: 8 | 16;
  /** As its profile has it, such as `sRGB` or `ACES AP1, linear`. */
  readonly colourSpace: string;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly bytes: number;
  readonly sha256: string;
  /** As in its metadata. */
  readonly imageGuid: string;
  /** Whether a mark lies over it. */
  readonly marked: boolean;
}

/** What `listing.json` holds: all that a library of pictures asks for. Holds no date of its own. */
export interface PackListing {
  readonly format: 'plenilune-listing';
  readonly version: 1;
  readonly title: string;
  readonly headline: string;
  readonly description: string;
  readonly altText: string;
  readonly keywords: readonly string[];
  readonly creator: string;
  readonly rights: string;
  readonly credit: string;
  readonly source: string;
  readonly licence: {
    readonly id: string | null;
    readonly name: string;
    readonly url: string | null;
    readonly file: string;
  };
  readonly usageTerms: string;
  readonly statementUrl: string | null;
  readonly licensor: { readonly name: string; readonly url: string | null };
  /** When the first exposure began, ISO 8601 in UTC. */
  readonly takenUtc: string | null;
  readonly digitalSourceType: string;
  readonly plate: {
    readonly sha256: string;
    readonly widthPx: number;
    readonly heightPx: number;
    readonly complete: boolean;
    readonly covered: number;
    /** Whether a program drew the frames, so that it is no photograph. */
    readonly synthetic: boolean;
    /** What the master's transparency says: where light was recorded; with a matte, also how much of a pixel the disc fills. */
    readonly alpha: 'coverage' | 'coverage-and-matte';
  };
  /** How the copies are made: a factor on the master's linear light, and the part of it that they show (space 4). */
  readonly copies: {
    readonly gain: number;
    readonly part: { readonly x: number; readonly y: number; readonly widthPx: number; readonly heightPx: number };
  };
  readonly pictures: readonly PackPicture[];
  readonly leftOut: readonly LeftOut[];
}

/** The fields of the metadata without those that differ from picture to picture. */
export type CommonFields = Required<Omit<XmpFields, 'imageGuid' | 'dateCreated' | 'webStatement' | 'site'>> &
  Pick<XmpFields, 'dateCreated' | 'webStatement' | 'site'>;

/** The listing of a pack, from what its pictures say of themselves. */
export function listingOf(
  fields: CommonFields,
  licence: Licence,
  rest: Pick<PackListing, 'plate' | 'copies' | 'pictures' | 'leftOut'>,
): PackListing {
  const { title, headline, description, altText, keywords, creator, rights, credit, source } = fields;
  return {
    format: 'plenilune-listing',
    version: 1,
    ...{ title, headline, description, altText, keywords, creator, rights, credit, source },
    licence: { id: licence.id, name: licence.name, url: licence.url, file: LICENCE_FILE },
    usageTerms: fields.usageTerms,
    statementUrl: fields.webStatement ?? null,
    licensor: { name: fields.licensor.name, url: fields.licensor.url ?? null },
    takenUtc: fields.dateCreated ?? null,
    digitalSourceType: fields.digitalSourceType,
    ...rest,
  };
}

/** Name of the file with the licence's text. */
export const LICENCE_FILE = 'LICENCE.txt';

/** Name of the file with the listing as data. */
export const LISTING_FILE = 'listing.json';

/** The same as a table, a row for each picture. */
export function listingTable(listing: PackListing): string {
  const { title, description, keywords, altText, creator, rights, credit, licence, statementUrl, licensor } = listing;
  const words = keywords.join(', ');
  const rows = listing.pictures.map(({ file, kind, format, bitsPerSample, colourSpace, widthPx, heightPx, bytes }) => [
    ...[file, kind, title, description, words, widthPx, heightPx, format, bitsPerSample, colourSpace, bytes],
    ...[licence.id ?? licence.name, statementUrl ?? '', creator, rights, credit],
    ...[licensor.name, licensor.url ?? '', listing.takenUtc ?? '', altText],
  ]);
  return csvTable([COLUMNS, ...rows]);
}

const COLUMNS: readonly string[] = [
  ...['file', 'kind', 'title', 'description', 'keywords', 'width_px', 'height_px', 'format', 'bits'],
  ...['colour_space', 'bytes'],
  ...['licence', 'rights_page', 'creator', 'rights', 'credit'],
  ...['licensor', 'licensor_page', 'taken_utc', 'alt_text'],
];
