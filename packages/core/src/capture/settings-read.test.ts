import { mkdir, symlink, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import { InputError } from '../job/errors.js';
import { SettingsError, type SettingsFault } from './settings-fault.js';
import { MOST_SETTINGS_BYTES, parseSettings, readSettings } from './settings-read.js';

const scratch = useScratch();

function faultsOf(text: string | Uint8Array): readonly SettingsFault[] {
  try {
    parseSettings(text, 'night/capture.yaml');
  } catch (error) {
    expect(error).toBeInstanceOf(SettingsError);
    expect(error).toMatchObject({ code: 'SETTINGS_INVALID' });
    return (error as SettingsError).faults;
  }
  return [];
}

/** `line:column message` of every fault. */
function told(text: string | Uint8Array): string[] {
  return faultsOf(text).map(({ line, column, message }) => `${line}:${column} ${message}`);
}

describe('what is said', () => {
  test('a whole file', () => {
    const text = [
      'title: Waxing gibbous',
      'site: { latitudeDeg: -33.9, longitudeDeg: 18.4, timeZone: Africa/Johannesburg }',
      'passes:',
      '  - folder: .\\lower\\\\stills\\',
      '    ignoreFrames: [3, 0-2, frame_9.tif]',
      '  - clip: clips/b.mov',
      '    encoding: { table: ..\\tables\\log.cube, tableGives: linear }',
      'split: false',
      'calibration: { flat: ../flat, dark: false }',
      'onlyListed: yes please',
    ];
    expect(parseSettings(text.slice(0, -1).join('\n'), 'capture.yaml')).toEqual({
      title: 'Waxing gibbous',
      site: { latitudeDeg: -33.9, longitudeDeg: 18.4, timeZone: 'Africa/Johannesburg' },
      passes: [
        { folder: 'lower/stills', ignoreFrames: [3, '0-2', 'frame_9.tif'] },
        { clip: 'clips/b.mov', encoding: { table: '../tables/log.cube', tableGives: 'linear' } },
      ],
      split: false,
      calibration: { flat: '../flat', dark: false },
    });
    expect(told(text.join('\n'))).toEqual(["10:13 onlyListed is 'yes please'; expected true or false"]);
  });

  test.each(['', '\n\n', '# only a comment\n', '---\n', 'null\n', '{}', 'title:\nsite:\npasses:\n'])(
    'nothing: %j',
    (text) => {
      expect(parseSettings(text, 'capture.yaml')).toEqual({});
    },
  );

  test('the same with a byte order mark and with line ends of other systems', () => {
    const text = 'title: Über den Bergen\nsite:\n  heightM: 1034\n';
    const expected = { title: 'Über den Bergen', site: { heightM: 1034 } };
    expect(parseSettings(`\ufeff${text}`, 'capture.yaml')).toEqual(expected);
    expect(parseSettings(Buffer.from(`\ufeff${text}`), 'capture.yaml')).toEqual(expected);
    expect(parseSettings(text.replaceAll('\n', '\r\n'), 'capture.yaml')).toEqual(expected);
  });
});

describe('faults', () => {
  test('all are told at once, in the order of the file, with their places', () => {
    const text = [
      'titel: x',
      'site:',
      '  latitude: 46',
      '  latitudeDeg: 91',
      '  timeZone: Europe/Zürich',
      'encoding: { curve: sRBG, table: a.txt, tableGives: linear }',
      'passes:',
      '  - folder: 01',
      '  - clip: ../other/b.mov',
      '  - { folder: a, clip: b.mov, exposureS: 0 }',
      '  - {}',
      'focalLengthMm: 2000',
      'split: true',
      'calibration: { dark: ../../dark, flat: C:\\flat }',
    ].join('\n');
    expect(told(text)).toEqual([
      '1:1 titel is no field here; did you mean title?',
      '3:3 site.latitude is no field here; did you mean latitudeDeg?',
      '3:3 site.latitudeDeg needs longitudeDeg beside it',
      '4:16 site.latitudeDeg is 91; expected from -90 to 90',
      "5:13 site.timeZone is 'Europe/Zürich', which is neither a zone of the IANA database, such as Europe/Zurich, nor an offset, such as '+02:00'; did you mean Europe/Zurich?",
      '6:20 encoding.curve is sRBG; expected auto, srgb, linear, bt709, pq or hlg; did you mean srgb?',
      '6:33 encoding.table is a.txt, which is not the path of a .cube file',
      "8:13 passes[0].folder is 01; expected a text; put it in quotes: '01'",
      "9:11 passes[1].clip is '../other/b.mov', which leads out of the capture; move what it names",
      '10:5 passes[2] has more than one of folder or clip; keep one',
      '10:42 passes[2].exposureS is 0; expected above 0 to 86400',
      '11:5 passes[3] needs folder or clip',
      '12:1 focalLengthMm is no field here; it belongs under optics',
      '13:8 split is true; expected false or fields under it',
      "14:22 calibration.dark is '../../dark', which leads further away than beside the capture; move what it names",
      "14:40 calibration.flat is 'C:\\flat', which is not relative; give the path as seen from the capture",
    ]);
  });

  test('the message names the file, counts the faults and cuts a long list', () => {
    const text = Array.from({ length: 25 }, (_, i) => `wrong${i}: 1`).join('\n');
    const attempt = (): unknown => parseSettings(text, 'night/capture.yaml');
    expect(attempt).toThrow(/^night\/capture\.yaml has 25 faults:\n {2}line 1, column 1: wrong0 is no field here/);
    expect(attempt).toThrow(/\n {2}and 5 more$/);
    expect(faultsOf(text)).toHaveLength(25);
  });

  test.each([
    ['passes: [{ folder: a }, { folder: .\\a\\ }]', '1:35 passes has a twice; keep one of them'],
    ['passes: [{ folder: a, name: x }, { clip: b, name: x }]', '1:51 passes has x twice; keep one of them'],
    ['title: 12', "1:8 title is 12; expected a text; put it in quotes: '12'"],
    ['title: [a]', '1:8 title is a list; expected a text'],
    ['sensor: { widthPx: 12.5 }', '1:20 sensor.widthPx is 12.5; expected a whole number'],
    ['sensor: { pitchUm: .inf }', '1:20 sensor.pitchUm is not finite'],
    ['body: 3', '1:7 body is 3; expected moon, sun, mercury, venus, mars, jupiter, saturn, uranus or neptune'],
    ['passes: [~]', '1:10 passes[0] is empty; expected fields under it'],
    [
      'passes: [{ folder: a, ignoreFrames: [5-2] }]',
      '1:38 passes[0].ignoreFrames[0] is 5-2, which ends before it begins',
    ],
    [
      'passes: [{ folder: a, ignoreFrames: [a/b] }]',
      "1:38 passes[0].ignoreFrames[0] is 'a/b', which is a path; give the name alone",
    ],
    [
      'passes: [{ folder: a, start: 2025-02-29T01:00:00Z }]',
      "1:30 passes[0].start is '2025-02-29T01:00:00Z', which is no moment that there is in ISO 8601, such as 2025-10-03T21:14:05.5+02:00",
    ],
    [
      'rights: { sourceUrl: "javascript:alert(1)" }',
      "1:22 rights.sourceUrl is 'javascript:alert(1)', which is no web address that begins with https:// or http://",
    ],
    ['rights: { creator: "" }', '1:20 rights.creator is an empty text'],
    ['- title: x', '1:1 the file is a list; expected fields under it'],
    ['just words', "1:1 the file is 'just words'; expected fields under it"],
    ['passes: [{ folder: "a\\u0000b" }]', "1:20 passes[0].folder is 'a\\u0000b', which holds a control character"],
    ['__proto__: { title: x }', /^1:1 __proto__ is no field here/],
    ['constructor: 1', /^1:1 constructor is no field here/],
    ['<<: { title: x }', /^1:1 '<<' is no field here/],
    ['? [a, b]\n: 1', /^1:3 '' is no field here/],
  ])('%s', (text, fault) => {
    const found = told(text);
    expect(found).toHaveLength(1);
    if (typeof fault === 'string') expect(found[0]).toBe(fault);
    else expect(found[0]).toMatch(fault);
  });
});

describe('readSettings', () => {
  async function capture(name: string, files: Readonly<Record<string, string>>): Promise<string> {
    await mkdir(scratch(name));
    for (const [file, text] of Object.entries(files)) await writeFile(join(scratch(name), file), text);
    return scratch(name);
  }
  const refusal = async (root: string): Promise<unknown> => readSettings(root).catch((error: unknown) => error);

  test('no file: no settings', async () => {
    expect(await readSettings(await capture('none', { 'notes.txt': 'title: x' }))).toEqual({});
  });

  test('reads the file', async () => {
    expect(await readSettings(await capture('plain', { 'capture.yaml': 'title: x\r\n' }))).toEqual({ title: 'x' });
  });

  test('a name that is nearly right is told', async () => {
    const error = await refusal(await capture('near', { 'Capture.yml': 'title: x' }));
    expect(error).toBeInstanceOf(SettingsError);
    expect((error as Error).message).toContain('it is called Capture.yml; rename it to capture.yaml');
  });

  test('faults name the file', async () => {
    const root = await capture('faulty', { 'capture.yaml': 'titel: x' });
    expect(await refusal(root)).toMatchObject({ code: 'SETTINGS_INVALID' });
    expect(((await refusal(root)) as Error).message).toContain(`${join(root, 'capture.yaml')} has a fault`);
  });

  test('a folder or a link in its place is refused', async () => {
    const root = await capture('folder', {});
    await mkdir(join(root, 'capture.yaml'));
    expect(((await refusal(root)) as Error).message).toContain('it is no plain file');
    const linked = await capture('link', { other: 'title: x' });
    await symlink(join(linked, 'other'), join(linked, 'capture.yaml'));
    expect(((await refusal(linked)) as Error).message).toContain('it is no plain file');
  });

  test('only the beginning of a huge file is read', async () => {
    const root = await capture('huge', { 'capture.yaml': `# ${'x'.repeat(20 * MOST_SETTINGS_BYTES)}` });
    expect(((await refusal(root)) as Error).message).toContain('it holds more than 65536 bytes');
  });

  test('no such folder', async () => {
    const error = await refusal(scratch('nowhere'));
    expect(error).toBeInstanceOf(InputError);
    expect(error).toMatchObject({ code: 'CAPTURE_UNREADABLE' });
  });
});
