import { execFileSync } from 'node:child_process';
import { cp, readFile, truncate, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { useScratch } from '../../test/scratch.js';
import type { ClipAnswer, ClipFacts, ClipRequest } from './clip-facts.js';
import { frameBytes, layoutOf } from './clip-layout.js';
import { runClipChild } from './run-clip-child.js';

const clips = fileURLToPath(new URL('../../test/clips/', import.meta.url));
const scratch = useScratch();
const isThere = ((): boolean => {
  try {
    execFileSync('ffmpeg', ['-version'], { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
})();

type Ask = typeof runClipChild;
/** The built program where no package lies beside it: it finds FFmpeg's programs, then. */
let onPath: Ask;
// What starts the tests may name folders of packages here.
const { NODE_PATH } = process.env;
afterAll(() => {
  if (NODE_PATH !== undefined) process.env.NODE_PATH = NODE_PATH;
});
beforeAll(async () => {
  delete process.env.NODE_PATH;
  await cp(fileURLToPath(new URL('../../dist', import.meta.url)), scratch('alone'), { recursive: true });
  await writeFile(scratch('alone/package.json'), '{ "type": "module" }');
  ({ runClipChild: onPath } = (await import(scratch('alone/capture/run-clip-child.js'))) as { runClipChild: Ask });
});

async function factsBy(ask: Ask, path: string): Promise<ClipFacts> {
  let facts: ClipFacts | undefined;
  const failure = await ask({ kind: 'facts', path }, (answer) => {
    if (answer.kind === 'facts') facts = answer.facts;
  });
  if (!facts) throw new Error(failure);
  return facts;
}

async function picturesBy(ask: Ask, path: string, facts: ClipFacts) {
  const into = scratch('codes.raw');
  await writeFile(into, '');
  await truncate(into, facts.count * frameBytes(layoutOf(facts.pixelFormat)!, facts.widthPx, facts.heightPx));
  const answers: ClipAnswer[] = [];
  const request: ClipRequest = { kind: 'pictures', path, threads: 2, facts, into };
  const failure = await ask(request, (answer) => answers.push(answer));
  const whole = answers.flatMap((answer) => (answer.kind === 'picture' && !answer.faulty ? [answer.index] : []));
  return { failure, whole: whole.sort((a, b) => a - b), codes: await readFile(into) };
}

describe.skipIf(!isThere)('FFmpeg on the PATH', () => {
  it.each(['ffv1.mkv', 'prores.mov', 'hevc.mp4', 'gbr16.mkv', 'numbers.mkv', 'numbers.mp4'])(
    'says of %s what the libraries say, and gives the same codes',
    async (name) => {
      const path = join(clips, name);
      const facts = await factsBy(onPath, path);
      // ProRes says of colour that it is not known, and the file around it says what: `ffprobe` heeds the former.
      const unsaid = name === 'prores.mov' && facts.matrix === 2 ? { primaries: 2, transfer: 2, matrix: 2 } : {};
      expect(facts).toEqual({ ...(await factsBy(runClipChild, path)), ...unsaid });
      const pictures = await picturesBy(onPath, path, facts);
      expect(pictures.failure).toBeUndefined();
      expect(pictures.whole).toEqual(Array.from({ length: facts.count }, (_, i) => i));
      expect(pictures.codes.equals((await picturesBy(runClipChild, path, facts)).codes)).toBe(true);
    },
  );

  it('leaves the place of a picture empty that the clip does not give, and puts the others where they belong', async () => {
    const path = scratch('hole.mp4');
    const bytes = await readFile(join(clips, 'numbers.mp4'));
    bytes.fill(0, Math.round(bytes.length * 0.5), Math.round(bytes.length * 0.72));
    await writeFile(path, bytes);
    const facts = await factsBy(onPath, path);
    const { whole, codes } = await picturesBy(onPath, path, facts);
    expect(whole.length).toBeLessThan(facts.count);
    const size = codes.length / facts.count;
    const known = whole.map((i) => codes[i * size]);
    expect(known.slice(0, 3)).toEqual([20, 30, 40]);
    // What was concealed may show its neighbour; nothing lies a place or more off without having been damaged.
    expect(known.filter((level, k) => level === 20 + 10 * whole[k]!).length).toBeGreaterThanOrEqual(whole.length - 2);
  });

  it('refuses what is no clip', async () => {
    const path = scratch('letter.mp4');
    await writeFile(path, 'Dear all,\n');
    await expect(factsBy(onPath, path)).rejects.toThrow('its index cannot be read');
  });
});

it('says what is missing where there are neither', async () => {
  const before = process.env.PATH;
  process.env.PATH = '/nowhere';
  try {
    await expect(factsBy(onPath, join(clips, 'ffv1.mkv'))).rejects.toThrow(
      /cannot be loaded: .*; nor is FFmpeg on the PATH/s,
    );
  } finally {
    process.env.PATH = before;
  }
});
