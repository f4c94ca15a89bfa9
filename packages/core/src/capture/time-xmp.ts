import { parseXml, XmlElement, XmlText } from '@rgrove/parse-xml';
import { type ClockStamp, parseIsoStamp } from './time-text.js';

/** What an XMP packet (ISO 16684-1) says of an exposure; each part `undefined` when it does not. */
export interface XmpFacts {
  /** The first that is a moment of exif:DateTimeOriginal, photoshop:DateCreated and xmp:CreateDate. */
  readonly taken: ClockStamp | undefined;
  readonly exposureS: number | undefined;
  readonly iso: number | undefined;
}

/**
 * Reads the properties of a packet, whatever its prefixes and however they are written: as attributes, as elements, or as
 * lists of which the first entry counts. Throws a plain `Error` when it is no well-formed XML or out of proportion.
 */
export function readXmp(packet: string): XmpFacts {
  const properties = readProperties(packet);
  const text = (namespace: string, name: string): string => properties.get(`${namespace}${name}`) ?? '';
  const exposureS = quotientOf(text(EXIF, 'ExposureTime'));
  const iso = quotientOf(text(EXIF_EX, 'PhotographicSensitivity') || text(EXIF, 'ISOSpeedRatings'));
  return {
    taken:
      parseIsoStamp(text(EXIF, 'DateTimeOriginal')) ??
      parseIsoStamp(text(PHOTOSHOP, 'DateCreated')) ??
      parseIsoStamp(text(XMP, 'CreateDate')),
    exposureS,
    iso,
  };
}

const EXIF = 'http://ns.adobe.com/exif/1.0/';
const EXIF_EX = 'http://cipa.jp/exif/1.0/';
const PHOTOSHOP = 'http://ns.adobe.com/photoshop/1.0/';
const XMP = 'http://ns.adobe.com/xap/1.0/';
const RDF = 'http://www.w3.org/1999/02/22-rdf-syntax-ns#';

const MOST_CHARACTERS = 1 << 20;
/** Elements within elements that a packet could ever need; the parser recurses. */
const DEEPEST = 64;

type Scope = ReadonlyMap<string, string>;

/** Namespace and name -> text, of every property in the packet. The first of equal names counts. */
function readProperties(packet: string): Map<string, string> {
  if (packet.length > MOST_CHARACTERS) throw new Error(`the XMP packet has more than ${MOST_CHARACTERS} characters`);
  const trimmed = packet.replace(/^[\ufeff\s\0]+|[\s\0]+$/g, '');
  if (depthOf(trimmed) > DEEPEST) throw new Error(`the XMP packet is nested more than ${DEEPEST} deep`);
  const found = new Map<string, string>();
  const note = (name: string, text: string): unknown => found.has(name) || found.set(name, text);
  const walk = (element: XmlElement, outer: Scope): void => {
    const scope = new Map(outer);
    for (const [name, value] of Object.entries(element.attributes)) {
      if (name.startsWith('xmlns:')) scope.set(name.slice(6), value);
    }
    for (const [name, value] of Object.entries(element.attributes)) note(fullName(name, scope), value);
    note(fullName(element.name, scope), textOf(element, scope));
    for (const child of element.children) if (child instanceof XmlElement) walk(child, scope);
  };
  const root = parseXml(trimmed).root;
  if (root !== null) walk(root, new Map());
  return found;
}

/** How deep elements lie within each other at most, roughly: what the text's tags say. */
function depthOf(text: string): number {
  let depth = 0;
  let deepest = 0;
  for (const [mark] of text.matchAll(/<\/|\/>|<[^!?/]/g)) {
    depth += mark === '</' || mark === '/>' ? -1 : 1;
    if (depth > deepest) deepest = depth;
  }
  return deepest;
}

function fullName(name: string, scope: Scope): string {
  const colon = name.indexOf(':');
  return colon < 0 ? name : `${scope.get(name.slice(0, colon)) ?? ''}${name.slice(colon + 1)}`;
}

/** An element's own text, or that of the first entry of the list in it. */
function textOf(element: XmlElement, scope: Scope): string {
  const own = element.children.map((child) => (child instanceof XmlText ? child.text : '')).join('');
  if (own.trim() !== '') return own.trim();
  const inner = element.children.find((child) => child instanceof XmlElement);
  const isList = inner !== undefined && LISTS.has(fullName(inner.name, scope));
  const entry = isList ? inner.children.find((child) => child instanceof XmlElement) : undefined;
  return entry === undefined ? '' : entry.text.trim();
}

const LISTS: ReadonlySet<string> = new Set(['Seq', 'Bag', 'Alt'].map((name) => `${RDF}${name}`));

/** `1/250`, `0.004` or `250`, if it is above 0. */
function quotientOf(text: string): number | undefined {
  const found = /^(\d{1,12}(?:\.\d{1,12})?)(?:\/(\d{1,12}))?$/.exec(text);
  const value = found === null ? 0 : Number(found[1]) / Number(found[2] ?? 1);
  return value > 0 && Number.isFinite(value) ? value : undefined;
}
