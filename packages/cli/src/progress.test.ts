import type { ProgressEvent, ProgressUnit } from '@plenilune/core';
import { expect, test } from 'vitest';
import { createProgressView } from './progress.js';
import { createStyle } from './style.js';
import { textWidth } from './text-width.js';

/** A view on a terminal, or on none, with a clock of its own that runs on between events. */
function look(terminal: { isTTY?: boolean; columns?: number }, rewrites = true) {
  let [text, nowMs] = ['', 0];
  const stream = { ...terminal, write: (part: string) => (text += part) };
  const view = createProgressView(stream, { style: createStyle(false), rewrites, now: () => nowMs });
  const wait = (ms: number): void => {
    for (const end = nowMs + ms; nowMs < end; nowMs += 100) view.refresh();
  };
  const start = (stage: string, total: number, unit: ProgressUnit = 'frames', subject?: string): void =>
    view.onProgress({ kind: 'stage-start', stage, total, unit, ...(subject !== undefined && { subject }) });
  const step = (stage: string, done: number, total: number): void =>
    view.onProgress({ kind: 'stage-step', stage, done, total });
  const end = (stage: string, elapsedMs: number, resumed = false): void =>
    view.onProgress({ kind: 'stage-end', stage, elapsedMs, resumed });
  return { view, wait, start, step, end, written: () => text };
}

/** Every state of the line that a terminal has shown, and what it shows in the end. */
function lines(text: string): string[] {
  return text.split(/[\r\n]/).map((line) => line.replace('\x1b[K', ''));
}

const LOSS: ProgressEvent = {
  ...{ kind: 'left-out', stage: 'grade' },
  loss: { item: 'p1/f3.png', reason: 'blurred', detail: 'grade 0.1' },
};

test.each([
  [{}, true],
  [{ isTTY: true }, false],
])('away from a terminal that rewrites lines there is one for each stage, without control codes', (to, rewrites) => {
  const { view, start, step, end, written } = look(to, rewrites);
  start('grade', 4, 'frames', 'lower');
  step('grade', 1, 4);
  view.onProgress(LOSS);
  view.onProgress({ kind: 'stage-end', stage: 'grade', subject: 'lower', elapsedMs: 1600, resumed: false });
  start('place', 1, 'steps');
  end('place', 200);
  start('blend', 9, 'tiles');
  end('blend', 3, true);
  view.clear();
  expect(written()).toBe(
    'Grading lower: done in 1.6 s (4 frames, 2.5 frames/s), 1 left out\n' +
      'Placing the passes: done in 0.2 s\n' +
      'Joining the strips: taken from the work folder\n',
  );
});

test('on a terminal one line says how far it is, how fast it goes and how long it will take, and leaves nothing', () => {
  const { view, start, step, end, wait, written } = look({ isTTY: true, columns: 80 });
  start('strip', 40, 'frames', 'lower');
  for (let done = 1; done <= 40; done++) {
    wait(500);
    step('strip', done, 40);
  }
  end('strip', 20_000);
  view.clear();
  expect(lines(written())).toContain('Stacking lower: 0 of 40 frames');
  expect(lines(written())).toContain('Stacking lower: 10 of 40 frames, 2.0 frames/s, 15 s left');
  expect(lines(written())).toContain('Stacking lower: 39 of 40 frames, 2.0 frames/s, 1 s left');
  expect(written()).not.toContain('\n');
  expect(lines(written()).at(-1)).toBe('');
});

test('a stage that is over at once is not shown, nor does it take the line off', () => {
  const { start, step, end, wait, written } = look({ isTTY: true, columns: 80 });
  for (const stage of ['grade', 'track', 'place', 'light']) {
    start(stage, 2);
    wait(100);
    step(stage, 2, 2);
    wait(100);
    end(stage, 200);
  }
  expect(written()).toBe('');
});

test('a long stage without steps says how long it has taken, after a while', () => {
  const { start, wait, written } = look({ isTTY: true, columns: 80 });
  start('where', 1, 'steps');
  wait(5000);
  expect(lines(written())).toContain('Finding where it lies');
  expect(lines(written()).at(-1)).toBe('Finding where it lies: 4 s so far');
});

test('a stage that begins in a process too busy to ask is shown at once', () => {
  let nowMs = 0;
  let text = '';
  const stream = { isTTY: true, columns: 80, write: (part: string) => (text += part) };
  const view = createProgressView(stream, { style: createStyle(false), now: () => nowMs });
  nowMs = 2000;
  view.onProgress({ kind: 'stage-start', stage: 'report', total: 1, unit: 'steps' });
  expect(lines(text)).toEqual(['', 'Writing the report']);
});

test('stages that were there already are told in one line', () => {
  const { start, end, wait, written } = look({ isTTY: true, columns: 80 });
  for (const stage of ['grade', 'track']) {
    start(stage, 2);
    end(stage, 1, true);
  }
  start('blend', 9, 'tiles');
  wait(1000);
  expect(lines(written())[0]).toBe('2 stages were taken from the work folder');
  expect(written().match(/\n/g)).toHaveLength(1);
});

test.each([1, 12, 20, 45, 60, 100])('the line fits into %i columns, whatever the pass is called', (columns) => {
  for (const subject of ['lower', 'a pass with a very long name of its own', '月の下半分のパス一番目']) {
    const { start, step, wait, written } = look({ isTTY: true, columns });
    start('transients', 1000, 'tiles', subject);
    for (let done = 1; done <= 100; done++) {
      wait(200);
      step('transients', done, 1000);
    }
    expect(written()).not.toBe('');
    for (const line of lines(written())) expect(textWidth(line)).toBeLessThan(Math.max(columns, 1));
  }
});

test('where room is short the unit of the rate goes first, then the rate; never the time left', () => {
  const shown = [80, 64, 58, 50].map((columns) => {
    const { start, step, wait, written } = look({ isTTY: true, columns });
    start('seeing', 400, 'frames', 'lower');
    for (let done = 1; done <= 100; done++) {
      wait(100);
      step('seeing', done, 400);
    }
    return lines(written()).at(-1);
  });
  expect(shown).toEqual([
    'Measuring the air in lower: 99 of 400 frames, 10 frames/s, 35 s left',
    'Measuring the air in lower: 99 of 400 frames, 10/s, 35 s left',
    'Measuring the air in lower: 99 of 400 frames, 35 s left',
    'Measuring the ai..: 99 of 400 frames, 35 s left',
  ]);
});

test('steps come too fast to draw them all', () => {
  const { start, step, wait, written } = look({ isTTY: true, columns: 80 });
  start('grade', 10_000);
  wait(400);
  const before = written().length;
  for (let done = 1; done <= 5000; done++) step('grade', done, 10_000);
  expect(written().length - before).toBeLessThan(200);
});
