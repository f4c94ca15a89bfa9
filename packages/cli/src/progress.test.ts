import type { ProgressEvent } from '@plenilune/core';
import { expect, test } from 'vitest';
import { createProgressView } from './progress.js';
import { createStyle } from './style.js';

const events: ProgressEvent[] = [
  { kind: 'stage-start', stage: 'grade', total: 4 },
  { kind: 'stage-step', stage: 'grade', done: 1, total: 4 },
  { kind: 'left-out', stage: 'grade', loss: { item: 'p1/f3.png', reason: 'blurred', detail: 'grade 0.1' } },
  { kind: 'stage-step', stage: 'grade', done: 4, total: 4 },
  { kind: 'stage-end', stage: 'grade', elapsedMs: 1234, resumed: false },
  { kind: 'stage-start', stage: 'stack', total: 1 },
  { kind: 'stage-end', stage: 'stack', elapsedMs: 3, resumed: true },
];

function written(terminal: { isTTY?: boolean; columns?: number }, told: readonly ProgressEvent[]): string {
  let text = '';
  const stream = { ...terminal, write: (part: string) => (text += part) };
  const view = createProgressView(stream, createStyle(false));
  for (const event of told) view.onProgress(event);
  view.clear();
  return text;
}

/** What a terminal shows in the end: a carriage return and "erase line" begin the line anew. */
function shown(text: string): string {
  return text
    .split('\n')
    .map((line) => line.split('\r\x1b[K').at(-1))
    .join('\n');
}

test('away from a terminal there is a line for each start and end, and no control codes', () => {
  expect(written({}, events)).toBe(
    'grade: started\ngrade: done in 1.2 s, 1 left out\nstack: started\nstack: taken from the work folder\n',
  );
});

test('on a terminal a bar moves, and lines for finished stages stay', () => {
  const text = written({ isTTY: true, columns: 80 }, events);
  expect(text).toContain(`\r\x1b[Kgrade [${' '.repeat(24)}] 0/4`);
  expect(text).toContain(`\r\x1b[Kgrade [${'='.repeat(24)}] 4/4`);
  expect(shown(text)).toBe('grade: done in 1.2 s, 1 left out\nstack: taken from the work folder\n');
});

test('a stage that runs for several passes says which, without control characters', () => {
  const told: ProgressEvent[] = [
    { kind: 'stage-end', stage: 'track', subject: 'up\u001b[2Jper', elapsedMs: 5, resumed: true },
  ];
  expect(written({}, told)).toBe('track up?[2Jper: taken from the work folder\n');
});

test('a bar that is cut short leaves an empty line', () => {
  expect(shown(written({ isTTY: true, columns: 80 }, events.slice(0, 1)))).toBe('');
});

test.each([1, 20, 45])('a bar fits into %i columns', (columns) => {
  const text = written({ isTTY: true, columns }, events.slice(0, 4));
  for (const line of text.replaceAll('\r\x1b[K', '\n').split('\n')) expect(line.length).toBeLessThan(columns);
});

test('steps come too fast to draw them all', () => {
  const steps = Array.from({ length: 5000 }, (_, i): ProgressEvent => {
    return { kind: 'stage-step', stage: 'grade', done: i + 1, total: 10_000 };
  });
  expect(written({ isTTY: true }, steps).length).toBeLessThan(50_000);
});
