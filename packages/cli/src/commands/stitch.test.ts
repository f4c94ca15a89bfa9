import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import { hostname, tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { called } from '../../test/called.js';
import { plenilune, type Run, start } from '../../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'stitch test '));
afterAll(() => rm(base, { recursive: true }));
const whole = join(base, 'whole');
const gap = join(base, 'gap');
const small = ['--disc', '450', '--frame', '360x240', '--frames-per-pass', '6', '--quiet'];

let first: Run;
beforeAll(async () => {
  for (const args of [[whole], [gap, '--omit', '1', '--disc', '638']]) {
    expect(await plenilune(['rehearse', ...small, ...args])).toMatchObject({ code: 0, stdout: '', stderr: '' });
  }
  first = await stitch(whole, 'plate', '--crop', '100x80', '--crop', '9000x40', '--json');
});

// One work folder for all but the interrupted run: what one test has made need not be made by the next.
const stitch = (rehearsal: string, out: string, ...more: string[]): Promise<Run> =>
  plenilune([
    'stitch',
    join(rehearsal, 'capture'),
    '--out',
    join(base, out),
    '--work',
    join(base, 'shared work'),
    ...more,
  ]);

test('a whole capture gives a whole plate, which scores', async () => {
  const { code, stdout, stderr } = first;
  expect(stderr).toContain('plate.tif');
  expect(stderr).toContain(`report   ${join(base, 'plate', 'report.html')}`);
  expect(code).toBe(0);
  const about = execFileSync('exiftool', ['-s3', '-XMP:CreatorTool', join(base, 'plate', 'plate.tif')], {
    encoding: 'utf8',
  });
  expect(about).toMatch(/^plenilune \d/);
  expect(JSON.parse(stdout)).toMatchObject({ complete: true, gaps: [], platePath: join(base, 'plate', 'plate.tif') });
  expect(await readdir(join(base, 'plate'))).toEqual(
    expect.arrayContaining(['plate.json', 'plate.tif', 'preview.jpg', 'report.html']),
  );

  const scored = await called(['score', join(base, 'plate', 'plate.tif'), whole, '--json', '--quiet']);
  expect(scored).toMatchObject({ code: 0, stderr: '' });
  // Loose on purpose: that score works is tested here; how good plates are, elsewhere.
  const report = JSON.parse(scored.stdout) as { covered: number; geometryRmsPx: number };
  expect(report.covered).toBeGreaterThan(0.9);
  expect(report.geometryRmsPx).toBeLessThan(2);
});

test('a plate that is there stays, unless its replacement is forced; what a killed run left goes with it', async () => {
  const plate = join(base, 'plate', 'plate.tif');
  const before = await stat(plate);
  const refused = await stitch(whole, 'plate', '--quiet');
  expect(refused.stderr).toContain('[OUTPUT_EXISTS]');
  expect(refused.code).toBe(2);
  expect((await stat(plate)).mtimeMs).toBe(before.mtimeMs);
  // What a run that was killed left beside its output goes with the next one.
  const { pid } = spawnSync(process.execPath, ['--version']);
  const host = encodeURIComponent(hostname());
  const left = ['plate.tif', 'report.html'].map((file) => join(base, 'plate', `.${file}.${pid},${host},3.partial`));
  for (const path of left) await writeFile(path, 'half');
  expect((await stitch(whole, 'plate', '--quiet', '--force')).code).toBe(0);
  expect((await stat(plate)).mtimeMs).toBeGreaterThan(before.mtimeMs);
  expect((await readdir(join(base, 'plate'))).filter((name) => name.startsWith('.'))).toEqual([]);
});

test('crops: how far a shot can be enlarged, and what of one is empty', () => {
  const { stdout, stderr } = first;
  expect(stderr).toMatch(
    /\ncrop-100x80\.tif: a shot that begins on the widest view of its shape that is covered throughout, \d+ x \d+ px, can be enlarged to \d{3} % before/,
  );
  expect(stderr).toMatch(
    /\nNote on crop-9000x40\.tif: It is larger than the plate of .* px on the left, \d+ px on the right, which are empty\.\n/,
  );
  // Across the whole plate the ragged edges of what is covered are in it, too.
  expect(stderr.match(/Note on crop-9000x40\.tif/g)).toHaveLength(2);
  expect(stderr.match(/Note on/g)).toHaveLength(2);
  const item = 'crop-9000x40.tif';
  expect(JSON.parse(stdout).notices).toMatchObject([
    { item, reason: 'crop-padded' },
    { item, reason: 'crop-uncovered' },
  ]);
});

test('a file where a folder should be, or no name at all, is bad usage', async () => {
  const file = join(base, 'a file');
  await writeFile(file, 'text');
  for (const out of [file, join(file, 'deeper'), '']) {
    const { code, stderr } = await called(['stitch', join(whole, 'capture'), '--out', out, '--quiet']);
    expect(stderr).toContain('[USAGE]');
    expect(code).toBe(2);
  }
});

test('a place that the system lets nobody write to is told in plain words', async () => {
  for (const out of ['/proc/plate', join(base, 'x'.repeat(300))]) {
    const { code, stderr } = await called(['stitch', join(whole, 'capture'), '--out', out, '--quiet']);
    expect(stderr).toMatch(/cannot be written: .* \[OUTPUT_UNWRITABLE\]\n$/);
    expect(code).toBe(2);
  }
});

test('a capture with a gap gives a plate, says where it is incomplete, and ends with 4', async () => {
  const { code, stderr } = await stitch(gap, 'gap plate');
  expect(stderr).toContain('It is incomplete');
  expect(code).toBe(4);
  expect(await readdir(join(base, 'gap plate'))).toContain('plate.tif');
});

test('an interrupted run ends with 5, goes on where it stopped, and gives the same plate', async () => {
  const work = join(base, 'own work');
  const out = join(base, 'resumed');
  const args = ['stitch', join(whole, 'capture'), '--out', out, '--work', work, '--workers', '1'];
  const run = start(args);
  await run.said('Grading lower: done in');
  run.interrupt();
  const { code, stdout, stderr } = await run.ended;
  expect(stderr).toContain(`run it again: plenilune stitch '${join(whole, 'capture')}' --out '${out}'`);
  expect(stderr).toContain('[INTERRUPTED]');
  expect(stdout).toBe('');
  expect(code).toBe(5);
  expect(stderr).toContain(`finished stages are kept in ${work}. To go on`);
  expect(existsSync(join(out, 'plate.tif'))).toBe(false);
  expect((await readdir(work)).filter((name) => name.startsWith('.'))).toEqual([]);

  const writing = start(args);
  await writing.said('Writing plate.tif: done');
  writing.interrupt();
  expect(await writing.ended).toMatchObject({ code: 5 });
  expect(await readdir(out)).toEqual([]);

  const resumed = await plenilune([...args.slice(0, -1), '2']);
  expect(resumed.stderr).toContain('taken from the work folder');
  expect(resumed.code).toBe(0);
  const plate = await readFile(join(out, 'plate.tif'));
  expect(plate.equals(await readFile(join(base, 'plate', 'plate.tif')))).toBe(true);
});
