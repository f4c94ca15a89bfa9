import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { readXmp } from './time-xmp.js';

const NAMESPACES = [
  'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"',
  'xmlns:exif="http://ns.adobe.com/exif/1.0/"',
  'xmlns:exifEX="http://cipa.jp/exif/1.0/"',
  'xmlns:xmp="http://ns.adobe.com/xap/1.0/"',
  'xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/"',
].join(' ');

function packet(attributes: string, elements = ''): string {
  return (
    `<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF ${NAMESPACES}>` +
    `<rdf:Description rdf:about="" ${attributes}>${elements}</rdf:Description></rdf:RDF></x:xmpmeta>` +
    `${' '.repeat(200)}<?xpacket end="w"?>\0`
  );
}

const AT = Date.UTC(2025, 8, 8, 1, 28, 6);

describe('when it was exposed', () => {
  test.each([
    ['an attribute', packet('exif:DateTimeOriginal="2025-09-08T01:28:06.25+05:30"'), 250, 330],
    ['an element', packet('', '<exif:DateTimeOriginal>2025-09-08T01:28:06.25Z</exif:DateTimeOriginal>'), 250, 0],
    ['without a zone', packet('xmp:CreateDate="2025-09-08T01:28:06"'), 0, undefined],
    [
      'the exposure before the file',
      packet('xmp:CreateDate="2026-01-01T00:00:00" photoshop:DateCreated="2025-09-08T01:28:06"'),
      0,
      undefined,
    ],
    [
      'a date alone is passed over',
      packet('exif:DateTimeOriginal="2025-09-08" xmp:CreateDate="2025-09-08T01:28:06"'),
      0,
      undefined,
    ],
    [
      'another prefix for the same names',
      packet('xmlns:q="http://ns.adobe.com/exif/1.0/" q:DateTimeOriginal="2025-09-08T01:28:06"'),
      0,
      undefined,
    ],
  ])('%s', (_, text, intoMs, offsetMin) => {
    expect(readXmp(text).taken).toMatchObject({ clockMs: AT + intoMs, offsetMin });
  });

  test.each([
    ['the same prefix for other names', packet('').replace('http://ns.adobe.com/xap/1.0/', 'http://example.org/')],
    ['the time of a change', packet('')],
  ])('%s says nothing', (_, text) => {
    const other = text.replace(
      'rdf:about=""',
      'rdf:about="" xmp:CreateDate2="2025-09-08T01:28:06" xmp:ModifyDate="2025-09-08T01:28:06"',
    );
    expect(readXmp(other).taken).toBeUndefined();
  });
});

test('exposure and sensitivity', () => {
  const list = '<exif:ISOSpeedRatings><rdf:Seq><rdf:li>400</rdf:li><rdf:li>9</rdf:li></rdf:Seq></exif:ISOSpeedRatings>';
  expect(readXmp(packet('exif:ExposureTime="1/250"', list))).toMatchObject({ exposureS: 0.004, iso: 400 });
  expect(readXmp(packet('exif:ExposureTime="0.5" exifEX:PhotographicSensitivity="800"', list))).toMatchObject({
    exposureS: 0.5,
    iso: 800,
  });
  expect(readXmp(packet('exif:ExposureTime="1/0"'))).toMatchObject({ exposureS: undefined, iso: undefined });
});

describe('packets that mean harm or are broken', () => {
  const M = 1 << 20;
  test.each([
    ['nothing', ''],
    ['no XML', 'title: x'],
    ['an open element', '<a><b></a>'],
    ['entities', '<!DOCTYPE a [<!ENTITY b "bbb"><!ENTITY c "&b;&b;">]><a>&c;</a>'],
    ['deep', '<a>'.repeat(M / 8) + '</a>'.repeat(M / 8)],
    ['deep and open', '<a>'.repeat(M / 4)],
    ['too long', ' '.repeat(M + 1)],
    ['<', '<'.repeat(M)],
    ['&', `<a>${'&'.repeat(M - 10)}</a>`],
  ])('%s: a plain error within 2 s of processor time', (_, text) => {
    const before = process.cpuUsage();
    expect(() => readXmp(text)).toThrow(Error);
    expect(process.cpuUsage(before).user / 1e6).toBeLessThan(2);
  });

  test('a wide one is read', () => {
    const wide = packet(Array.from({ length: 20_000 }, (_, i) => `a${i}="1"`).join(' '), '<b/>'.repeat(100_000));
    expect(readXmp(wide).taken).toBeUndefined();
  });

  test('whatever the text, it is read or an error is thrown', () => {
    const bits = fc.constantFrom(
      '<a',
      '>',
      '</a>',
      '/>',
      ' xmlns:q="',
      '"',
      'q:b="1"',
      '<q:b>',
      '</q:b>',
      '&lt;',
      '<!--',
      '-->',
      '<?x',
      '?>',
      'x',
      ' ',
    );
    fc.assert(
      fc.property(fc.array(bits, { maxLength: 25 }), (parts) => {
        try {
          expect(readXmp(parts.join('')).taken).toBeUndefined();
        } catch (error) {
          expect(error).toBeInstanceOf(Error);
          expect((error as Error).name).not.toBe('AssertionError');
        }
      }),
      { seed: 9, numRuns: 1000 },
    );
  });
});
