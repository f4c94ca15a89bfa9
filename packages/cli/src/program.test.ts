import { spawnSync } from 'node:child_process';
import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, test } from 'vitest';
import { called } from '../test/called.js';
import { plenilune, start } from '../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'plenilune test '));
afterAll(() => rm(base, { recursive: true }));

test('an error of several faults has a line for each, and no control character of a name', async () => {
  const settings = join(base, 'faults.yaml');
  await writeFile(settings, 'site:\n  latitude: 46\n  "long\u0007itude": 8\n');
  const { code, stderr } = await called(['plan', '--settings', settings, '--from', '2031-03-01', '--to', '2031-03-02']);
  expect(code).toBe(3);
  expect(stderr.trimEnd().split('\n').length).toBeGreaterThanOrEqual(3);
  expect(stderr).toMatch(/\n {2}line 2, column 3: site\.latitude is no field here; did you mean latitudeDeg\?/);
  expect(stderr).not.toContain('\u0007');
});

describe('help', () => {
  test.each(['plan', 'rehearse', 'check', 'stitch', 'publish', 'score'])(
    'of %s fits one screen and shows examples',
    async (command) => {
      const { code, stdout, stderr } = await called([command, '--help']);
      expect(code).toBe(0);
      expect(stderr).toBe('');
      expect(stdout.split('\n').length).toBeLessThanOrEqual(30);
      expect(Math.max(...stdout.split('\n').map((line) => line.length))).toBeLessThanOrEqual(100);
      expect(stdout.match(new RegExp(`^  plenilune ${command} `, 'gm'))!.length).toBeGreaterThanOrEqual(2);
    },
  );

  test('names the commands that exist and the exit codes', async () => {
    const { code, stdout } = await called(['--help']);
    expect(code).toBe(0);
    for (const word of [
      'plan',
      'rehearse',
      'check',
      'stitch',
      'publish',
      'score',
      'Exit codes',
      'certified full-aperture filter',
    ]) {
      expect(stdout).toContain(word);
    }
  });

  test('is shown, as bad usage, when nothing is asked', async () => {
    const { code, stdout, stderr } = await plenilune([]);
    expect(code).toBe(2);
    expect(stdout).toBe('');
    expect(stderr).toContain('Usage: plenilune');
  });

  test('is cut off without complaint when nobody reads on', async () => {
    const { stopReading, ended } = start(['--help']);
    stopReading();
    expect(await ended).toMatchObject({ code: 0, stdout: '', stderr: '' });
  });

  test('a full disk under standard output is the machine’s fault, and told in one line', async () => {
    const entry = fileURLToPath(new URL('../bin/plenilune.js', import.meta.url));
    const script = `exec '${process.execPath}' '${entry}' score nowhere nothing --json > /dev/full`;
    const { status, stderr } = spawnSync('sh', ['-c', script], { encoding: 'utf8' });
    expect(stderr).toMatch(/the result cannot be printed: ENOSPC.* \[OUT_OF_SPACE\]\n$/);
    expect(status).toBe(6);
  });

  test('the version is printed', async () => {
    expect(await plenilune(['--version'])).toMatchObject({
      code: 0,
      stdout: expect.stringMatching(/^\d+\.\d+\.\d+\n$/),
    });
  });
});

describe('bad usage ends with 2 and says what is meant', () => {
  test.each([
    [['stitch', 'c', '--ot', 'd'], "unknown option '--ot'; did you mean --out? [USAGE]"],
    [['stitch', 'c', '--north'], "unknown option '--north'; did you mean --north-up? [USAGE]"],
    [['stitch', 'c', '--crop-form', 'tif'], "unknown option '--crop-form'; did you mean --crop-format? [USAGE]"],
    [['stitch', 'c', '--maps=all'], "unknown option '--maps=all'; did you mean --maps? [USAGE]"],
    [['publish', 'p', '-to', 'x'], "unknown option '-to'; did you mean --to? [USAGE]"],
    [['rehearse', join(base, 'r'), '--bit', '8'], "unknown option '--bit'; did you mean --bits? [USAGE]"],
    [['check', 'c', '--quite'], "unknown option '--quite'; did you mean --quiet? [USAGE]"],
    [['score', 'p', 't', '--xyz'], "unknown option '--xyz' [USAGE]"],
    [['--verson'], "unknown option '--verson'; did you mean --version? [USAGE]"],
    [['stich', 'c'], "unknown command 'stich'; did you mean stitch? [USAGE]"],
    [['stitch', 'c'], '--out <folder> is missing; say where the plate is to go [USAGE]'],
    [['stitch', 'c', '--out'], "option '--out <folder>' argument missing [USAGE]"],
    [['stitch', '--out', 'd'], "missing required argument 'capture' [USAGE]"],
    [['stitch', 'c', '--out', 'd', '--workers', '0'], 'Expected a whole number, 1 or more. [USAGE]'],
    [['stitch', 'c', '--out', 'd', '--curve', 'log'], 'Allowed choices are srgb, linear, bt709. [USAGE]'],
    [['stitch', 'c', '--out', 'd', '--exr'], "'--exr <samples>' argument missing; expected one of half, float [USAGE]"],
    [['stitch', 'c', '--exr', '--matte', '--out', 'd'], 'Allowed choices are half, float. [USAGE]'],
    [['stitch', 'c', '--curve'], 'argument missing; expected one of srgb, linear, bt709 [USAGE]'],
    [['stitch', 'c', '--primaries'], 'expected one of bt709, p3, bt2020, aces-ap0, aces-ap1 [USAGE]'],
    [['completion'], "missing required argument 'shell'; expected one of bash, zsh, fish [USAGE]"],
    [['rehearse', join(base, 'r'), '--frame', 'big'], 'Expected a size such as 960x640. [USAGE]'],
    [['rehearse', join(base, 'r'), '--disc', '3'], ': --disc (discDiameterPx) is 3; give a number from 150 to 12000 ['],
    [['rehearse', join(base, 'r'), '--frame', '960x9'], ': --frame (frameHeightPx) is 9; give a whole number from 64 '],
    [['score', 'p', 't', 'more'], 'too many arguments'],
  ])('%j', async (args, message) => {
    const { code, stdout, stderr } = await called(args);
    expect(stderr).toContain(message);
    expect(stderr).toMatch(/^plenilune: [^\n]+\[USAGE\]\n$/);
    expect(stdout).toBe('');
    expect(code).toBe(2);
    expect(await readdir(base)).not.toContain('r');
  });

  test('for programs as JSON', async () => {
    const { code, stdout } = await plenilune(['stitch', 'c', '--json']);
    expect(code).toBe(2);
    const message = '--out <folder> is missing; say where the plate is to go';
    expect(JSON.parse(stdout)).toEqual({ error: { code: 'USAGE', message } });
  });
});

test('a capture or plate that is not there ends with 3', async () => {
  const stitched = await called(['stitch', join(base, 'no capture'), '--out', join(base, 'plate')]);
  expect(stitched.stderr).toMatch(/^plenilune: .*no capture.* \[CAPTURE_[A-Z]+\]\n$/s);
  expect(stitched.code).toBe(3);
  const scored = await called(['score', join(base, 'no.tif'), base]);
  expect(scored.stderr).toMatch(/^plenilune: .* \[(PLATE|TRUTH)_UNREADABLE\]\n$/s);
  expect(scored.code).toBe(3);
});
