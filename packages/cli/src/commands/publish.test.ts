import { execFileSync } from 'node:child_process';
import { appendFile, cp, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { called } from '../../test/called.js';
import { plenilune } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'publish test '));
afterAll(() => rm(base, { recursive: true }));
const plate = join(base, 'plate');
const capture = join(base, 'night', 'capture');
const SETTINGS = `title: Above the ridge
site: { latitudeDeg: 46.6213, longitudeDeg: 8.0407 }
rights: { creator: A. Author, licence: CC-BY-4.0, contactUrl: 'https://example.org/contact' }
listing: { keywords: [alps, ridge] }
`;

beforeAll(async () => {
  const small = ['--disc', '420', '--frame', '360x270', '--passes', '2', '--frames-per-pass', '4', '--quiet'];
  expect(await plenilune(['rehearse', join(base, 'night'), ...small])).toMatchObject({ code: 0 });
  await writeFile(join(base, 'facts.yaml'), SETTINGS);
  await writeFile(join(capture, 'capture.yaml'), SETTINGS);
  expect(await plenilune(['stitch', capture, '--out', plate, '--xmp', '--quiet'])).toMatchObject({
    code: 0,
    stderr: '',
  });
});

test('a stitched plate becomes a pack that checks itself', async () => {
  const pack = join(base, 'pack');
  const args = ['publish', plate, '--to', pack, '--facts', join(base, 'facts.yaml'), '--sizes', '300', '--json'];
  const { code, stdout, stderr } = await plenilune([...args, '--watermark', 'SAMPLE', '--keywords', 'own, words']);
  expect(code).toBe(0);
  expect(stderr).toContain('"Above the ridge": 5 pictures, ');
  expect(stderr).toContain('When it was taken is not known');
  expect(stderr.trimEnd().endsWith(`pack     ${pack}`)).toBe(true);
  const result = JSON.parse(stdout) as { keywords: string[]; licence: object; pictures: { file: string }[] };
  expect(result.keywords.slice(0, 4)).toEqual(['own', 'words', 'alps', 'ridge']);
  expect(result.pictures.map(({ file }) => file)).toEqual([
    ...['above-the-ridge.tif', 'above-the-ridge.jpg', 'above-the-ridge-300.jpg'],
    ...['above-the-ridge-preview.jpg', 'above-the-ridge-thumbnail.jpg'],
  ]);
  execFileSync('sha256sum', ['-c', '--strict', '--quiet', 'SHA256SUMS'], { cwd: pack });

  const whole = await called(['check', pack]);
  expect(whole).toMatchObject({ code: 0, stderr: expect.stringMatching(/\n9 files are as .*SHA256SUMS says\.\n$/) });
  await appendFile(join(pack, 'LICENCE.txt'), 'x');
  await rm(join(pack, 'listing.csv'));
  const harmed = await called(['check', pack, '--json']);
  expect(harmed.code).toBe(3);
  expect(harmed.stderr).toMatch(
    /\nLICENCE\.txt has changed\.\nlisting\.csv is missing\.\n2 files differ from .*SHA256SUMS; 7 are as it says\.\n$/,
  );
  expect(JSON.parse(harmed.stdout)).toMatchObject({ packDir: pack, checked: 9, differences: [{}, {}] });
  expect(await called(['check', pack, '--init', '--quiet'])).toMatchObject({ code: 2 });

  expect(await called([...args, '--quiet'])).toMatchObject({ code: 2 });
  const forced = await called([...args, '--quiet', '--force', '--watermark', 'SAMPLE', '--keywords', 'own, words']);
  expect(forced).toMatchObject({ code: 0, stderr: '', stdout });
});

test('of a synthetic plate it says that it is no photograph', async () => {
  const drawn = join(base, 'drawn');
  await cp(plate, drawn, { recursive: true });
  const told = JSON.parse(await readFile(join(drawn, 'plate.json'), 'utf8')) as { capture: object };
  const sidecar = { ...told, capture: { ...told.capture, synthetic: true } };
  await writeFile(join(drawn, 'plate.json'), JSON.stringify(sidecar));
  const args = ['publish', drawn, '--to', join(base, 'drawn pack'), '--facts', join(base, 'facts.yaml')];
  const { code, stderr } = await called(args);
  expect(code).toBe(0);
  expect(stderr).toContain('The plate is synthetic: no photograph. The pack says so.\n');
  expect(stderr).not.toContain('When it was taken');
});

test('without what only the maker can say it names all of it, and makes nothing', async () => {
  const { code, stderr } = await called(['publish', plate, '--to', join(base, 'none'), '--title', 'x', '--quiet']);
  expect(stderr).toMatch(/it has not been said: creator \(--creator, .*; licence \(--licence, .* \[FACTS_MISSING\]\n$/);
  expect(code).toBe(2);
  expect(await readdir(base)).not.toContain('none');
  expect((await called(['publish', plate, '--quiet'])).stderr).toContain('--to <folder> is missing');
  expect(await called(['publish', capture, '--to', join(base, 'none'), '--facts', capture, '--quiet'])).toMatchObject({
    code: 3,
    stderr: expect.stringContaining('[SIDECAR_UNREADABLE]') as string,
  });
});

test('stitch has left the metadata as a file that another reader understands', async () => {
  const path = join(plate, 'plate.xmp');
  const [read] = JSON.parse(execFileSync('exiftool', ['-j', '-G1', '-struct', path], { encoding: 'utf8' })) as object[];
  expect(read).toMatchObject({
    'XMP-dc:Title': 'Above the ridge',
    'XMP-dc:Creator': ['A. Author'],
    'XMP-xmpRights:UsageTerms': 'CC-BY-4.0',
    'XMP-dc:Subject': expect.arrayContaining(['alps', 'moon']) as string[],
  });
  expect(await readFile(path, 'utf8')).not.toMatch(/46[.,]6|GPS/);
});

test('check compares a plate with its sidecar, and ends with 3 on a difference', async () => {
  const same = await called(['check', plate, '--capture', capture]);
  expect(same.stderr).toMatch(/\d+ files are as .*plate\.json says\.\n$/);
  expect(same.code).toBe(0);
  const alone = await called(['check', join(plate, 'plate.json'), '--json']);
  expect(alone.stderr).toMatch(
    /3 files are as .* says\.\n\d+ inputs were not looked at; --capture says where they are\.\n$/,
  );
  expect(JSON.parse(alone.stdout)).toMatchObject({ checked: 3, differences: [] });
  const xmp = await readFile(join(plate, 'plate.xmp'));
  await appendFile(join(plate, 'plate.xmp'), ' ');
  expect(await called(['check', plate, '--quiet', '--json'])).toMatchObject({
    code: 3,
    stdout: expect.stringMatching(/"file": *"plate\.xmp"/) as string,
  });
  await writeFile(join(plate, 'plate.xmp'), xmp);

  const [first] = (await readdir(capture, { recursive: true })).filter((name) => name.endsWith('.png'));
  await appendFile(join(capture, first!), 'x');
  const changed = await called(['check', plate, '--capture', capture, '--json']);
  expect(changed.stderr).toContain(`${first} of the capture has changed.\n`);
  expect(changed.code).toBe(3);
  expect(JSON.parse(changed.stdout)).toMatchObject({ differences: [{ file: first, role: 'input', state: 'changed' }] });

  for (const args of [
    [plate, '--init'],
    [plate, '--watch'],
    [capture, '--capture', capture],
  ]) {
    expect(await called(['check', ...args, '--quiet'])).toMatchObject({ code: 2 });
  }
});
