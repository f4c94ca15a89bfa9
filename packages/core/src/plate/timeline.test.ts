import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { Capture, FrameFile, Pass } from '../capture/pass.js';
import { timelineText } from './timeline.js';

const ROOT = '/nights/first of May';
const frame = (name: string): FrameFile => ({
  item: name,
  path: join(ROOT, name),
  sizeBytes: 1,
  modified: '2031-05-01T20:00:00.000Z',
});
const facts = { widthPx: 64, heightPx: 48, channels: 3, encoding: {} } as unknown as Pass;

function timeline(passes: readonly Pass[]): { tracks: { children: { name: string; children: Clip[] }[] } } {
  const capture = { root: ROOT, name: 'first of May', passes } as unknown as Capture;
  return JSON.parse(timelineText(capture, '/plates/may', '/plates/may/plate.tif')) as never;
}

interface Clip {
  readonly name: string;
  readonly metadata: object;
  readonly media_references: { readonly DEFAULT_MEDIA: Record<string, unknown> };
}

const stills = (names: readonly string[]): Pass =>
  ({ ...facts, kind: 'stills', name: 'lower', frames: names.map(frame) }) as Pass;

test('numbered stills are one sequence, found from the folder of the timeline', () => {
  const { tracks } = timeline([stills(['lower/f_008.tif', 'lower/f_009.tif', 'lower/f_010.tif'])]);
  const [passes, plate] = tracks.children;
  expect(passes!.children.map(({ name }) => name)).toEqual(['lower']);
  expect(passes!.children[0]!.media_references.DEFAULT_MEDIA).toMatchObject({
    OTIO_SCHEMA: 'ImageSequenceReference.1',
    target_url_base: '../../nights/first%20of%20May/lower/',
    name_prefix: 'f_',
    name_suffix: '.tif',
    start_frame: 8,
    frame_zero_padding: 3,
    available_range: { start_time: { value: 8 }, duration: { value: 3, rate: 24 } },
  });
  expect(plate!.children[0]!.media_references.DEFAULT_MEDIA).toMatchObject({ target_url: 'plate.tif' });
});

test.each([
  ['a gap in the numbers', ['a/1.tif', 'a/3.tif']],
  ['other names', ['a/one.tif', 'a/two.tif']],
  ['padding that comes and goes', ['a/9.tif', 'a/010.tif']],
])('%s: each still for itself', (_, names) => {
  const { tracks } = timeline([stills(names)]);
  expect(tracks.children[0]!.children.map(({ name }) => name)).toEqual(names);
  for (const { media_references: media } of tracks.children[0]!.children) {
    expect(media.DEFAULT_MEDIA).toMatchObject({ OTIO_SCHEMA: 'ExternalReference.1' });
  }
});

/** Stills whose exposures began at these seconds, which may be off by so much. */
function timed(seconds: readonly (number | undefined)[], uncertaintyS: number | undefined): Pass {
  const pass = stills(seconds.map((_, k) => `lower/${k + 1}.tif`));
  const frames = pass.frames.map((one, k) => {
    const clockMs = seconds[k] === undefined ? undefined : 1000 * seconds[k];
    const time = { item: one.item, utc: undefined, clockMs, source: 'exif' as const, uncertaintyS };
    return { ...one, time };
  });
  return { ...pass, frames } as Pass;
}

test('stills run at the cadence that their times tell', () => {
  const clip = (pass: Pass): Clip => timeline([pass]).tracks.children[0]!.children[0]!;
  const rated = clip(timed([10, 12.5, 15, undefined, 20], 0.005));
  expect(rated.media_references.DEFAULT_MEDIA).toMatchObject({
    rate: 0.4,
    available_range: { start_time: { value: 1, rate: 0.4 }, duration: { value: 5, rate: 0.4 } },
  });
  expect(rated.metadata).toEqual({});
  const assumed: [readonly (number | undefined)[], number | undefined][] = [
    [[10, 12.5, 15], undefined],
    [[10, 12.5, 15], 0.3],
    [[10, 9, 15], 0.005],
    [[10, 10, 10], 0],
    [[undefined, 10], 0.005],
  ];
  for (const [seconds, uncertaintyS] of assumed) {
    const { metadata, media_references: media } = clip(timed(seconds, uncertaintyS));
    expect(metadata).toEqual({ plenilune: { rate: 'assumed', reason: expect.stringContaining('times') as string } });
    expect(media.DEFAULT_MEDIA).toMatchObject({ rate: 24 });
  }
});

test('a clip keeps its own rate and length', () => {
  const times = Array.from({ length: 51 }, (_, k) => k * 1001);
  const clip = { times, tick: 1 / 30_000, count: 51 };
  const one = { ...facts, kind: 'clip', name: 's1', frames: [frame('s1.mov#1')], clip } as unknown as Pass;
  const path = { ...one, frames: [{ ...one.frames[0]!, path: join(ROOT, 's1.mov') }] } as Pass;
  const { tracks } = timeline([path]);
  expect(tracks.children[0]!.children[0]!.media_references.DEFAULT_MEDIA).toMatchObject({
    target_url: '../../nights/first%20of%20May/s1.mov',
    available_range: { duration: { value: 51, rate: 29.97003 } },
  });
});
