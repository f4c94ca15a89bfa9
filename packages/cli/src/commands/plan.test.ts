import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { readSettingsFile } from '@plenilune/core';
import { afterAll, expect, test } from 'vitest';
import { called } from '../../test/called.js';
import { plenilune } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'plan test '));
afterAll(() => rm(base, { recursive: true }));

const rig = ['--site', '46.6,8.0,1034', '--focal', '2000', '--sensor', '2048x1080', '--pitch', '5.5'];
const month = ['--from', '2031-03-01', '--to', '2031-03-31'];
const settings = join(base, 'rig.yaml');
await writeFile(
  settings,
  `site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034, timeZone: Europe/Zurich }
optics: { focalLengthMm: 2000 }
sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5 }
`,
);
const part = join(base, 'part.yaml');
await writeFile(part, 'site: { heightM: 1034 }\nsensor: { widthPx: 2048, pitchUm: 5.5 }\n');

test('windows and a shot list for people, the same as JSON for programs, and two files', async () => {
  const files = ['--html', join(base, 'plan.html'), '--ics', join(base, 'plan.ics')];
  const { code, stdout, stderr } = await plenilune([
    'plan',
    ...rig,
    ...month,
    '--zone',
    'Europe/Zurich',
    '--feature',
    'Copernicus',
    '--json',
    ...files,
  ]);
  expect({ code, stderr }).toMatchObject({ code: 0 });
  expect(stderr).toMatch(/^2 windows, the best first:\n {2}1 {2}2031-03-03 19:56 to .* \+01:00 \(18:56 to .* UTC\)\n/);
  expect(stderr).toContain('Window 1: 5 passes in 23 min, start in Europe/Zurich:');
  expect(stderr).toMatch(/\n {2}1 {5}20:19:43 {2}19:19:43 {2}230 s {2}5520 /);
  expect(stderr).not.toContain('SUN');
  expect(stderr).toMatch(
    /\nData: 12\d\.\d GB in 2\d+ frames at 24 frames\/s \(--fps changes that\); the least .* is 0\.3 GB\.\n/,
  );
  const made = JSON.parse(stdout);
  expect(made).toMatchObject({ body: 'Moon', feasible: true, windowsFound: 2, sun: null });
  expect(made.shots.passes.length).toBe(5);
  expect(await readFile(join(base, 'plan.html'), 'utf8')).toContain('<svg');
  expect(await readFile(join(base, 'plan.ics'), 'utf8')).toMatch(/^BEGIN:VCALENDAR\r\n/);
  const again = await called(['plan', ...rig, ...month, ...files]);
  expect(again).toMatchObject({ code: 2, stderr: expect.stringMatching(/plan\.html exists\. .*\[OUTPUT_EXISTS\]\n$/) });
  expect(await called(['plan', ...rig, ...month, ...files, '--force'])).toMatchObject({ code: 0 });
  expect((await readdir(base)).sort()).toEqual(['part.yaml', 'plan.html', 'plan.ics', 'rig.yaml']);
});

test('settings say the same as options, which come first', async () => {
  const run = async (...args: string[]) => (await called(['plan', ...args, ...month, '--json', '--quiet'])).stdout;
  const options = await run(...rig, '--zone', 'Europe/Zurich');
  expect(await run('--settings', settings)).toBe(options);
  const wide = JSON.parse(await run('--settings', settings, '--focal', '400', '--roll', '-90', '--window', '2'));
  expect(wide.shots).toMatchObject({ window: 2, camera: { focalLengthMm: 400 } });
  expect(wide.shots.passes[0].aim.frameAngleDeg).toBe(-90);
});

test('--rehearse makes a capture of the planned passes, with site and clock', async () => {
  const folder = join(base, 'rehearsed');
  const small = ['--site', '46.6,8.0,1034', '--focal', '320', '--sensor', '640x640', '--pitch', '10'];
  const more = ['--aperture', '80', '--zone', 'Europe/Zurich', '--pointing', '5', '--json', '--rehearse', folder];
  const { code, stdout, stderr } = await plenilune(['plan', ...small, ...month, ...more]);
  expect({ code, stderr }).toMatchObject({ code: 0, stderr: expect.stringContaining(`rehearsed  ${folder}`) });
  // Of 640 rows 480 are drawn.
  const told =
    /\nThe rehearsed frames are 480 x 480 px, each side 1\.33 times shorter than the camera's 640 x 640 px, so that/;
  expect(stderr).toMatch(told);
  const captureDir = join(folder, 'capture');
  const sensor = { widthPx: 480, heightPx: 480, pitchUm: expect.closeTo(40 / 3, 9) as number };
  expect(JSON.parse(stdout).rehearsal).toMatchObject({ captureDir, ...sensor, timesSmaller: expect.closeTo(4 / 3, 9) });
  expect(await readSettingsFile(captureDir)).toEqual({
    synthetic: true,
    body: 'moon',
    site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034, timeZone: 'Europe/Zurich' },
    optics: { focalLengthMm: 320, apertureMm: 80 },
    sensor,
  });
  const { stderr: listed } = await called(['check', join(folder, 'capture')]);
  expect(listed).toMatch(/stills {2}480 x 480 px {2}2031-03-\d\d \d\d:\d\d:\d\d UTC, for/);
  const again = await called(['plan', ...small, ...month, '--rehearse', folder]);
  expect(again).toMatchObject({ code: 2, stderr: expect.stringContaining('[OUTPUT_EXISTS]') });
});

test('the Sun: done, with the warning wherever one looks', async () => {
  const ics = join(base, 'sun.ics');
  const { code, stdout, stderr } = await called([
    'plan',
    ...rig,
    ...['--from', '2031-03-01', '--to', '2031-03-02', '--body', 'sun', '--json', '--ics', ics],
  ]);
  expect(code).toBe(0);
  const warning = 'Never point optics at or near the Sun without a certified full-aperture filter.';
  const bar = '!'.repeat(100);
  const [before, block, rest] = stderr.split(`${bar}\n`);
  expect(before).toBe('');
  expect(block).toMatch(/^!! {2}SUN: the aim is the Sun/);
  expect(block!.replace(/\n!! +/g, ' ')).toContain(warning);
  expect(Math.max(...block!.split('\n').map((line) => line.length))).toBeLessThanOrEqual(100);
  // Once is enough in words; each window has its mark.
  expect(rest).not.toMatch(/filter|[Ss]weep/);
  expect(rest).toMatch(/^2 windows, the best first:\n {2}1 {2}.* UTC {2}SUN\n.*\n {2}2 {2}.* UTC {2}SUN\n/);
  const made = JSON.parse(stdout);
  for (const { sun } of [made, ...made.windows]) expect(sun.warning).toContain(warning);
  expect((await readFile(ics, 'utf8')).replaceAll('\r\n ', '')).toContain(warning);
});

test('the Sun over some of the windows: the warning says which, and how to learn the way to sweep for another', async () => {
  const days = ['--from', '2031-03-01', '--to', '2031-03-05'];
  const { stdout, stderr } = await called(['plan', ...rig, ...days, '--sky', 'any', '--altitude', '50', '--json']);
  const { windows } = JSON.parse(stdout) as { windows: { rank: number; sun: object | null }[] };
  const marked = [...stderr.matchAll(/^ {2}(\d+) {2}.* SUN$/gm)].map(([, rank]) => Number(rank));
  expect(marked).toEqual(windows.filter(({ sun }) => sun !== null).map(({ rank }) => rank));
  expect(marked.length).toBeGreaterThan(1);
  expect(stderr.replace(/\n!! +/g, ' ')).toMatch(
    / This is about .*, marked SUN; which way to sweep differs, --window N tells /,
  );
});

test('no window, or one that is too short, ends with 4 and says why', async () => {
  const none = await called(['plan', ...rig, ...month, '--altitude', '89', '--json', '--ics', join(base, 'none.ics')]);
  expect(none.code).toBe(4);
  expect(none.stderr.split('\n')).toEqual([
    'Not feasible: no window was found: the span never has the Moon at least 89° high; try a longer span, or a lower altitude.',
    expect.stringMatching(
      /^ {2}The Moon at least 89° high: never; nearest the Moon 6\d\.\d° high, 2031-03-\d\d \d\d:\d\d UTC\.$/,
    ),
    expect.stringMatching(
      /^ {2}A dark sky, the Sun 18° down or more: for \d+ h, at its best the Sun \d\d\.\d° down, 2031-03-/,
    ),
    expect.stringMatching(/^ {2}Nearest to all at once: the Moon 6\d\.\d° high, the Sun \d+\.\d° down, 2031-03-/),
    '',
  ]);
  const { missed } = JSON.parse(none.stdout);
  expect(missed.conditions.map(({ heldMin }: { heldMin: number }) => heldMin > 0)).toEqual([false, true]);
  expect(await readdir(base)).not.toContain('none.ics');
  const short = ['--from', '2031-03-02T19:30Z', '--to', '2031-03-02T20:40:00+01:00'];
  const brief = await called(['plan', ...rig, ...short, '--json']);
  expect(brief).toMatchObject({ code: 4, stderr: expect.stringMatching(/needs 5 passes, .* the window lasts 10 min/) });
  expect(JSON.parse(brief.stdout)).toMatchObject({ feasible: false, shots: null });
});

test.each([
  [[...rig, '--from', '2031-03-01'], '--to <date> is missing; give it as an option [USAGE]'],
  [['--form', '2031-03-01', '--to', '2031-03-31'], "unknown option '--form'; did you mean --from? [USAGE]"],
  [[...rig, '--from', '2031-03-31', '--to', '2031-03-01'], '--from 2031-03-31 is not before --to 2031-03-01; '],
  [[...rig, '--from', '2031-02-30', '--to', '2031-03-31'], '2031-02-30 is no date'],
  [
    [...rig.slice(0, 6), ...month],
    '--pitch <um> (sensor.pitchUm in the settings file) is missing; give it as an option or, where a field is named, in a',
  ],
  [
    ['--settings', part, '--to', '2031-03-31'],
    'plenilune: --from <date>; --site <lat,lon[,m]> (site.latitudeDeg, site.longitudeDeg in the settings file); --focal <mm> ' +
      '(optics.focalLengthMm in the settings file); --sensor <size> (sensor.heightPx in the settings file) are missing; ',
  ],
  [['--site', 'here', ...month], 'Expected latitude and longitude'],
  [[...rig, ...month, '--elongation', '10'], 'Expected two angles such as 60..120.'],
  [[...rig, ...month, '--overlap', '0.9'], 'plenilune: --overlap is 0.9; give a number from 0 to 0.8 [USAGE]'],
  [[...rig, ...month, '--focal', '5'], 'plenilune: --focal (optics.focalLengthMm) is 5; give a number from 10 to '],
  [[...rig, ...month, '--window', '99'], 'plenilune: --window is 99; give a whole number from 1 to '],
  [[...rig, ...month, '--within', '3'], '--within <deg> is given without --feature <name>'],
  [
    [...rig, ...month, '--body', 'jupitr'],
    'Allowed choices are moon, sun, mercury, venus, mars, jupiter, saturn, uranus, ',
  ],
  [[...rig, ...month, '--body'], 'argument missing; expected one of moon, sun, mercury, '],
  [[...rig, ...month, '--feature', 'Copernikus'], 'did you mean Copernicus?'],
])('%j is bad usage', async (args, message) => {
  const { code, stdout, stderr } = await called(['plan', ...args]);
  expect({ code, stdout, stderr }).toMatchObject({ code: 2, stdout: '', stderr: expect.stringContaining(message) });
});
