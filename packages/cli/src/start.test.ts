import { execFileSync } from 'node:child_process';
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, expect, test } from 'vitest';
import { plenilune } from '../test/plenilune.js';

const base = await mkdtemp(join(tmpdir(), 'start test '));
afterAll(() => rm(base, { recursive: true }));

/** Files that a run has loaded, from the last of the packages in their paths on: V8 notes each of them for its coverage. */
async function loadedBy(args: readonly string[]): Promise<string[]> {
  const folder = await mkdtemp(join(base, 'run '));
  await plenilune(args, { NODE_V8_COVERAGE: folder });
  const texts = await Promise.all((await readdir(folder)).map((name) => readFile(join(folder, name), 'utf8')));
  const urls = texts.flatMap((text) =>
    (JSON.parse(text) as { result: { url: string }[] }).result.map(({ url }) => url),
  );
  const files = urls.filter((url) => url.startsWith('file:'));
  return [...new Set(files.map((url) => url.replace(/^.*\/(?:packages|node_modules)\//, '')))];
}

/** The small doors of the library, and what lies behind them. */
const SMALL = [
  ...['core/dist/errors.js', 'core/dist/job/errors.js', 'core/dist/capture/settings-nearest.js'],
  ...['core/dist/defaults.js', 'core/dist/plan/plan-defaults.js', 'core/dist/rehearsal/settings.js'],
  'core/dist/sky/near-terminator.js',
];

test.each<[string[]]>([
  [['--help']],
  [['--version']],
  [['plan', '--help']],
  [['completion', 'fish']],
  [['stitch', 'c', '--ot', 'd']],
  [['stitch', 'c']],
  [['plan', '--to', '2031-03-01']],
])('%j loads the small doors of the library and nothing behind the large one', async (args) => {
  const loaded = await loadedBy(args);
  expect(loaded).toContain('cli/dist/program.js');
  expect(loaded.filter((path) => path.startsWith('core/')).sort()).toEqual([...SMALL].sort());
  expect(loaded.filter((path) => !/^(core|cli|commander)\//.test(path))).toEqual([]);
});

test('a command that works loads the rest', async () => {
  const loaded = await loadedBy(['score', join(base, 'none.tif'), base]);
  expect(loaded).toContain('core/dist/index.js');
  expect(loaded.some((path) => path.startsWith('sharp/'))).toBe(true);
});

test('errors and defaults of the built library are the same through every door', () => {
  const program = `
    const whole = await import('@plenilune/core');
    const small = { ...(await import('@plenilune/core/errors')), ...(await import('@plenilune/core/defaults')) };
    console.log(JSON.stringify(Object.entries(small).map(([name, value]) => [name, whole[name] === value])));`;
  const printed = execFileSync(process.execPath, ['--input-type=module', '--eval', program], {
    cwd: fileURLToPath(new URL('..', import.meta.url)),
    encoding: 'utf8',
  });
  const names = ['InputError', 'InternalError', 'InterruptedError', 'OutputError', 'PLAN_DEFAULTS', 'PleniluneError'];
  names.push('REHEARSAL_DEFAULTS', 'ResourceError', 'UsageError', 'nearestName');
  expect(JSON.parse(printed).sort()).toEqual(names.map((name) => [name, true]));
});
