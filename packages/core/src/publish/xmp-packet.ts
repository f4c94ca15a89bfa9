import type { Site } from '../sky/types.js';

/** What a packet of XMP says of a picture; what is left out is not in it. */
export interface XmpFields {
  readonly title?: string;
  readonly headline?: string;
  readonly description?: string;
  readonly keywords?: readonly string[];
  readonly creator?: string;
  readonly rights?: string;
  readonly credit?: string;
  readonly source?: string;
  /** When it was taken, ISO 8601. */
  readonly dateCreated?: string;
  /** The program that has made the picture. */
  readonly creatorTool?: string;
  /** Whether rights are reserved; false for the public domain. */
  readonly marked?: boolean;
  readonly usageTerms?: string;
  readonly webStatement?: string;
  readonly copyrightOwner?: string;
  readonly licensor?: { readonly name: string; readonly url?: string };
  /** A term of the IPTC's vocabulary, as its address. */
  readonly digitalSourceType?: string;
  readonly imageGuid?: string;
  readonly altText?: string;
  /** Where the camera stood. */
  readonly site?: Site;
}

/**
 * A packet of XMP (ISO 16684-1) with the properties of IPTC Photo Metadata 2023.1. The same fields give the same bytes.
 * Texts must be free of characters that XML 1.0 forbids.
 */
export function xmpPacket(fields: XmpFields): string {
  const { licensor, site } = fields;
  const properties = [
    language('dc:title', fields.title),
    language('dc:description', fields.description),
    list('dc:subject', 'Bag', fields.keywords),
    list('dc:creator', 'Seq', one(fields.creator)),
    language('dc:rights', fields.rights),
    simple('photoshop:Headline', fields.headline),
    simple('photoshop:Credit', fields.credit),
    simple('photoshop:Source', fields.source),
    simple('photoshop:DateCreated', fields.dateCreated),
    simple('xmp:CreateDate', fields.dateCreated),
    simple('xmp:CreatorTool', fields.creatorTool),
    simple('xmpRights:Marked', fields.marked === undefined ? undefined : fields.marked ? 'True' : 'False'),
    language('xmpRights:UsageTerms', fields.usageTerms),
    simple('xmpRights:WebStatement', fields.webStatement),
    structure('plus:CopyrightOwner', [['plus:CopyrightOwnerName', fields.copyrightOwner]]),
    structure('plus:Licensor', [
      ['plus:LicensorName', licensor?.name],
      ['plus:LicensorURL', licensor?.url],
    ]),
    simple('Iptc4xmpExt:DigitalSourceType', fields.digitalSourceType),
    simple('Iptc4xmpExt:DigImageGUID', fields.imageGuid),
    language('Iptc4xmpCore:AltTextAccessibility', fields.altText),
    ...(site ? place(site) : []),
  ].flat();
  return [
    '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>',
    '<x:xmpmeta xmlns:x="adobe:ns:meta/">',
    ' <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">',
    '  <rdf:Description rdf:about=""',
    ...NAMESPACES.map(([prefix, uri]) => `    xmlns:${prefix}="${uri}"`),
    '  >',
    ...properties.map((line) => `   ${line}`),
    '  </rdf:Description>',
    ' </rdf:RDF>',
    '</x:xmpmeta>',
    '<?xpacket end="r"?>',
  ].join('\n');
}

const NAMESPACES: readonly (readonly [string, string])[] = [
  ['dc', 'http://purl.org/dc/elements/1.1/'],
  ['exif', 'http://ns.adobe.com/exif/1.0/'],
  ['photoshop', 'http://ns.adobe.com/photoshop/1.0/'],
  ['plus', 'http://ns.useplus.org/ldf/xmp/1.0/'],
  ['xmp', 'http://ns.adobe.com/xap/1.0/'],
  ['xmpRights', 'http://ns.adobe.com/xap/1.0/rights/'],
  ['Iptc4xmpCore', 'http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/'],
  ['Iptc4xmpExt', 'http://iptc.org/std/Iptc4xmpExt/2008-02-29/'],
];

function simple(name: string, text: string | undefined): string[] {
  return text === undefined ? [] : [`<${name}>${escaped(text)}</${name}>`];
}

/** A text in one language, which is the default. */
function language(name: string, text: string | undefined): string[] {
  if (text === undefined) return [];
  return [`<${name}><rdf:Alt><rdf:li xml:lang="x-default">${escaped(text)}</rdf:li></rdf:Alt></${name}>`];
}

function list(name: string, kind: 'Bag' | 'Seq', texts: readonly string[] = []): string[] {
  if (texts.length === 0) return [];
  return [
    `<${name}><rdf:${kind}>`,
    ...texts.map((text) => ` <rdf:li>${escaped(text)}</rdf:li>`),
    `</rdf:${kind}></${name}>`,
  ];
}

/** A sequence of one structure. */
function structure(name: string, members: readonly (readonly [string, string | undefined])[]): string[] {
  const lines = members.flatMap(([member, text]) => simple(member, text));
  if (lines.length === 0) return [];
  return [
    `<${name}><rdf:Seq><rdf:li rdf:parseType="Resource">`,
    ...lines.map((line) => ` ${line}`),
    `</rdf:li></rdf:Seq></${name}>`,
  ];
}

/** Degrees and minutes as Exif in XMP has them: `46,37.200000N`. */
function place({ latitudeDeg, longitudeDeg, heightM }: Site): string[] {
  const east = longitudeDeg > 180 ? longitudeDeg - 360 : longitudeDeg;
  return [
    simple('exif:GPSLatitude', angle(latitudeDeg, 'N', 'S')),
    simple('exif:GPSLongitude', angle(east, 'E', 'W')),
    simple('exif:GPSAltitudeRef', heightM < 0 ? '1' : '0'),
    simple('exif:GPSAltitude', `${Math.round(Math.abs(heightM) * 10)}/10`),
  ].flat();
}

function angle(deg: number, positive: string, negative: string): string {
  const millionths = Math.round(Math.abs(deg) * 60e6);
  const whole = Math.floor(millionths / 60e6);
  return `${whole},${((millionths - whole * 60e6) / 1e6).toFixed(6)}${deg < 0 ? negative : positive}`;
}

function one(text: string | undefined): string[] {
  return text === undefined ? [] : [text];
}

function escaped(text: string): string {
  return text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');
}
