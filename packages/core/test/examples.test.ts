import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { cp, mkdir, readdir, readFile, symlink, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import ts from 'typescript';
import { beforeAll, describe, expect, test } from 'vitest';
import { useScratch } from './scratch.js';

const core = fileURLToPath(new URL('..', import.meta.url));
const examples = join(core, 'examples');
const names = (await readdir(examples)).map((file) => file.replace(/\.ts$/, ''));
const scratch = useScratch();

/** What a program that has ended printed. */
interface Ended {
  readonly exitCode: number;
  readonly lines: readonly string[];
  readonly stderr: string;
}

/** Runs an example as its reader would: in a folder of its own in which the package is installed. */
function run(name: string, ...args: string[]): Promise<Ended> {
  return new Promise((resolve) => {
    execFile(process.execPath, [`${name}.mjs`, ...args], { cwd: scratch('.') }, (error, stdout, stderr) => {
      const exitCode = error === null ? 0 : Number(error.code);
      resolve({ exitCode, lines: stdout.split('\n').slice(0, -1), stderr });
    });
  });
}

beforeAll(async () => {
  const installed = scratch('node_modules/@plenilune/core');
  await mkdir(dirname(installed), { recursive: true });
  await symlink(core, installed, 'junction');
  const compilerOptions = { module: ts.ModuleKind.ESNext, target: ts.ScriptTarget.ES2023, verbatimModuleSyntax: true };
  for (const name of names) {
    const source = await readFile(join(examples, `${name}.ts`), 'utf8');
    await writeFile(scratch(`${name}.mjs`), ts.transpileModule(source, { compilerOptions }).outputText);
  }
});

test('the README shows the example of the main job as it is', async () => {
  const readme = await readFile(join(core, '..', '..', 'README.md'), 'utf8');
  const shown = /## As a library\n[^#]*?```ts\n(.*?)```/s.exec(readme)?.[1];
  expect(shown).toBe(await readFile(join(examples, 'stitch-a-folder.ts'), 'utf8'));
  for (const name of names) expect(readme).toContain(`(packages/core/examples/${name}.ts)`);
});

test.each(names)('%s needs nothing but Node and the public door', async (name) => {
  const source = await readFile(join(examples, `${name}.ts`), 'utf8');
  const imported = ts.preProcessFile(source).importedFiles.map(({ fileName }) => fileName);
  expect(imported).toContain('@plenilune/core');
  expect(imported.filter((from) => from !== '@plenilune/core' && !from.startsWith('node:'))).toEqual([]);
});

test('plan-a-night names windows and passes, and writes both files', async () => {
  await mkdir(scratch('plan'));
  const { exitCode, lines } = await run('plan-a-night', 'plan');
  expect(exitCode).toBe(0);
  expect(lines).toContainEqual(expect.stringMatching(/^1\. 2031-03-\d\d .+Copernicus/));
  expect(lines.filter((line) => line.startsWith('pass ')).length).toBeGreaterThan(1);
  expect(lines.slice(-2)).toEqual([join('plan', 'plan.html'), join('plan', 'plan.ics')]);
  expect(await readFile(scratch('plan/plan.ics'), 'utf8')).toMatch(/^BEGIN:VCALENDAR/);
});

describe('on a rehearsed night of two passes', () => {
  let rehearsed: Ended;
  let stitched: Ended;
  let walked: Ended;
  beforeAll(async () => {
    rehearsed = await run('rehearse-a-night', 'rehearsal');
    await cp(scratch('rehearsal/capture/lower'), scratch('half/lower'), { recursive: true });
    await cp(scratch('rehearsal/capture'), scratch('archive/b whole'), { recursive: true });
    await mkdir(scratch('archive/a empty'));
    await cp(scratch('half'), scratch('archive/c settings'), { recursive: true });
    await writeFile(scratch('archive/c settings/capture.yaml'), 'site: 46.6\n');
    await cp(scratch('half'), scratch('archive/d half'), { recursive: true });
    stitched = await run('stitch-a-folder', 'half', 'plates/d half');
    walked = await run('walk-an-archive', 'archive', 'plates');
  });

  test('rehearse-a-night makes it', async () => {
    expect(rehearsed).toEqual({
      exitCode: 0,
      stderr: '',
      lines: [
        'rehearsal/capture/lower: 4 frames',
        'rehearsal/capture/upper: 4 frames',
        '100.0 % of the lit ground are in some frame',
      ],
    });
    expect(await readdir(scratch('rehearsal/capture/upper'))).toHaveLength(4);
  });

  test('check-a-capture says what half of the night lacks', async () => {
    const { exitCode, lines } = await run('check-a-capture', 'half');
    expect(exitCode).toBe(4);
    expect(lines[0]).toBe('lower: 4 frames of 220 x 150 px');
    expect(lines).toContainEqual(expect.stringMatching(/^missing: /));
    expect(lines.at(-1)).toBe('Something has to be shot again.');
  });

  test('stitch-a-folder makes a plate of half of the night, and says what is missing', () => {
    const [plate, pass, ...missing] = stitched.lines;
    expect(stitched.exitCode).toBe(0);
    expect(plate).toContain(join('plates', 'd half', 'plate.tif'));
    expect(pass).toBe('lower: 4 of 4 frames');
    expect(missing).toContainEqual(expect.stringMatching(/^missing: /));
    expect(stitched.stderr).toMatch(/^\S+: \d+ ms$/m);
  });

  test('walk-an-archive makes what can be made, names each failure by its code, and does nothing twice', () => {
    expect(walked).toMatchObject({ exitCode: 1, stderr: '' });
    const [empty, whole, ...others] = walked.lines;
    expect(empty).toMatch(/^a empty: CAPTURE_EMPTY: /);
    expect(whole).toBe('b whole: whole');
    expect(others[0]).toMatch(/^c settings: SETTINGS_INVALID: /);
    expect(others.at(-1)).toBe('d half: has a plate');
  });

  test('read-a-sidecar finds the plate and where frames lie on it', async () => {
    const { exitCode, lines } = await run('read-a-sidecar', 'plates/b whole');
    expect(exitCode).toBe(0);
    const bytes = await readFile(scratch('plates/b whole/plate.tif'));
    expect(lines[0]).toContain(`SHA-256 ${createHash('sha256').update(bytes).digest('hex')}`);
    const heights = ['lower', 'upper'].map((name) => {
      const line = lines.find((text) => text.startsWith(`${name}: 4 frames; the middle of ${name}/`));
      return Number(/, ([\d.]+)$/.exec(line ?? '')?.[1]);
    });
    expect(heights[0]).toBeGreaterThan(heights[1]! + 30);
  });

  test('publish-a-pack hands the plate over, and refuses one that has changed', async () => {
    const { exitCode, lines } = await run('publish-a-pack', 'plates/b whole', 'pack');
    expect(exitCode).toBe(0);
    const files = await readdir(scratch('pack'));
    const pictures = lines.slice(1, -1).map((line) => line.split(':')[0]!);
    expect(pictures).toContain('waxing-gibbous-above-the-ridge-200.jpg');
    expect(files).toEqual(expect.arrayContaining([...pictures, 'LICENCE.txt', 'SHA256SUMS']));
    await writeFile(scratch('plates/b whole/preview.jpg'), 'other');
    const refused = await run('publish-a-pack', 'plates/b whole', 'other pack');
    expect(refused).toMatchObject({ exitCode: 3, lines: ['preview.jpg has changed'] });
  });
});
