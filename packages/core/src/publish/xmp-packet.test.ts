import { parseXml, type XmlDocument, XmlElement } from '@rgrove/parse-xml';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { plainLine } from './plain-text.js';
import { xmpPacket } from './xmp-packet.js';

/** Every element of that name, wherever it is. */
function find(node: XmlDocument | XmlElement, name: string): XmlElement[] {
  return node.children.flatMap((child) => {
    if (!(child instanceof XmlElement)) return [];
    return child.name === name ? [child] : find(child, name);
  });
}

test('whatever a text holds, it comes back from the packet as it was', () => {
  const text = fc
    .oneof(fc.string({ unit: 'binary' }), fc.string({ unit: fc.constantFrom(...'<>&"\'] ;#=\n-?') }))
    .map(plainLine)
    .filter((line) => line !== '');
  fc.assert(
    fc.property(text, text, fc.array(text, { minLength: 1, maxLength: 4 }), (title, name, keywords) => {
      const read = parseXml(xmpPacket({ title, licensor: { name, url: 'https://example.org/?a=1&b=<2>' }, keywords }));
      expect(find(read, 'dc:title')[0]!.text).toBe(title);
      expect(find(read, 'plus:LicensorName')[0]!.text).toBe(name);
      expect(find(read, 'plus:LicensorURL')[0]!.text).toBe('https://example.org/?a=1&b=<2>');
      expect(find(find(read, 'dc:subject')[0]!, 'rdf:li').map((item) => item.text)).toEqual(keywords);
    }),
    { seed: 14, numRuns: 300 },
  );
});

test('what is not known is not in it', () => {
  const names = find(parseXml(xmpPacket({ altText: 'Alt' })), 'rdf:Description')[0]!.children.filter(
    (child) => child instanceof XmlElement,
  );
  expect(names.map((child) => (child as XmlElement).name)).toEqual(['Iptc4xmpCore:AltTextAccessibility']);
});

test.each([
  [46.62, 8.04, 1034, '46,37.200000N', '8,2.400000E', '0', '10340/10'],
  [-33.9999999, 341.25, -12.3, '33,59.999994S', '18,45.000000W', '1', '123/10'],
  [59.999999999, -0.5, 0, '60,0.000000N', '0,30.000000W', '0', '0/10'],
])('a place at %s, %s', (latitudeDeg, longitudeDeg, heightM, latitude, longitude, ref, altitude) => {
  const read = parseXml(xmpPacket({ site: { latitudeDeg, longitudeDeg, heightM } }));
  expect(find(read, 'exif:GPSLatitude')[0]!.text).toBe(latitude);
  expect(find(read, 'exif:GPSLongitude')[0]!.text).toBe(longitude);
  expect(find(read, 'exif:GPSAltitudeRef')[0]!.text).toBe(ref);
  expect(find(read, 'exif:GPSAltitude')[0]!.text).toBe(altitude);
});
