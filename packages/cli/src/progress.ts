import type { ProgressEvent, ProgressListener, ProgressUnit } from '@plenilune/core';
import { count } from './lines.js';
import { amountWords, leftWords, passedWords, rateWords, stageWords } from './stage-words.js';
import type { Style } from './style.js';
import { fitText, textWidth } from './text-width.js';
import { createTimeLeft, type TimeLeft } from './time-left.js';

/** Where progress is written; a terminal also has a width. */
export interface ProgressStream {
  write(text: string): unknown;
  readonly isTTY?: boolean;
  readonly columns?: number;
}

/** Tells a person how far a job is. */
export interface ProgressView {
  readonly onProgress: ProgressListener;
  /** Brings the line up to date; to be called some times a second. */
  refresh(): void;
  /** Takes the line off the terminal, so that other words can follow. */
  clear(): void;
}

/** Settings of {@link createProgressView}. */
export interface ProgressViewOptions {
  readonly style: Style;
  /** Whether the terminal can rewrite a line. Default true. */
  readonly rewrites?: boolean;
  /** Milliseconds of a clock that runs forward. Default: the machine's. */
  readonly now?: () => number;
}

/** Progress for nobody. */
export const silent: ProgressView = { onProgress: () => {}, refresh: () => {}, clear: () => {} };

/** A stage that is over sooner is not shown: the line would only flicker. */
const SHOWN_FROM_MS = 300;
/** Columns at the end of the line that stay free: a terminal shows Ctrl-C there as two letters, and must not break the line. */
const KEPT_FREE = 3;
/** How often the line changes, at most. */
const REDRAW_MS = 150;

/** A stage that is under way. */
interface Running {
  readonly name: string;
  readonly unit: ProgressUnit;
  readonly total: number;
  readonly startedMs: number;
  readonly timeLeft: TimeLeft;
  done: number;
  leftOut: number;
}

/**
 * On a terminal one line that is rewritten: the stage, how much of it is done, how fast, and how long it will take. Elsewhere
 * a line for each stage that has ended, without control codes.
 */
export function createProgressView(stream: ProgressStream, options: ProgressViewOptions): ProgressView {
  const { style, rewrites = true, now = () => performance.now() } = options;
  return stream.isTTY === true && rewrites ? rewrittenLine(stream, style, now) : lineEach(stream, style, now);
}

function rewrittenLine(stream: ProgressStream, style: Style, now: () => number): ProgressView {
  let running: Running | undefined;
  let drawnMs = Number.NEGATIVE_INFINITY;
  let askedMs = now();
  let isShown = false;
  let resumed = 0;

  const clear = (): void => {
    if (isShown) stream.write('\r\x1b[K');
    isShown = false;
  };
  const draw = (stage: Running): void => {
    if (resumed > 0) {
      clear();
      stream.write(`${style.dim(`${count(resumed, 'stage was', 'stages were')} taken from the work folder`)}\n`);
      resumed = 0;
    }
    drawnMs = now();
    stream.write(`\r${lineOf(stage, drawnMs, (stream.columns || 80) - KEPT_FREE, style)}\x1b[K`);
    isShown = true;
  };
  const refresh = (): void => {
    askedMs = now();
    if (!running || now() - running.startedMs < SHOWN_FROM_MS || now() - drawnMs < REDRAW_MS) return;
    draw(running);
  };
  const onProgress = (event: ProgressEvent): void => {
    switch (event.kind) {
      case 'stage-start':
        running = begin(event, now());
        // A process that is too busy to ask for the line may not get round to it later.
        if (now() - askedMs >= SHOWN_FROM_MS) draw(running);
        return;
      case 'stage-step':
        if (!running) return;
        advance(running, event.done, now());
        refresh();
        return;
      case 'left-out':
        return;
      case 'stage-end':
        if (event.resumed) resumed++;
        running = undefined;
    }
  };
  return { onProgress, refresh, clear };
}

function lineEach(stream: ProgressStream, style: Style, now: () => number): ProgressView {
  let running: Running | undefined;
  const onProgress = (event: ProgressEvent): void => {
    if (event.kind === 'stage-start') running = begin(event, now());
    else if (event.kind === 'left-out' && running) running.leftOut++;
    else if (event.kind === 'stage-end') {
      stream.write(`${stageWords(event)}: ${style.dim(endWords(event, running))}\n`);
      running = undefined;
    }
  };
  return { onProgress, refresh: () => {}, clear: () => {} };
}

function begin(event: ProgressEvent & { readonly kind: 'stage-start' }, startedMs: number): Running {
  const { total, unit } = event;
  return {
    ...{ name: stageWords(event), unit, total, startedMs, done: 0, leftOut: 0 },
    timeLeft: createTimeLeft(total, startedMs),
  };
}

function advance(stage: Running, done: number, nowMs: number): void {
  stage.done = done;
  stage.timeLeft.step(done, nowMs);
}

/** The line in so many columns: what matters least goes first where there is no room. */
function lineOf(stage: Running, nowMs: number, columns: number, style: Style): string {
  const { name, done, total, unit, timeLeft } = stage;
  if (total <= 1) return joined(name, soFar(nowMs - stage.startedMs), columns, style);
  const amount = amountWords(done, total, unit);
  const rate = timeLeft.rate(nowMs);
  const leftMs = done < total ? timeLeft.leftMs(nowMs) : undefined;
  const speeds = rate === undefined ? [] : [rateWords(rate, unit), rateWords(rate, unit, true)];
  const left = leftMs === undefined ? '' : `${leftWords(leftMs)} left`;
  const rests = [...speeds, ''].map((speed) => [amount, speed, left].filter((part) => part !== '').join(', '));
  const rest = rests.find((one) => textWidth(name) + 2 + one.length <= columns) ?? rests.at(-1)!;
  return joined(name, rest, columns, style);
}

/** How long work has taken whose end nobody can tell; nothing at first. */
function soFar(passedMs: number): string {
  return passedMs < SAID_FROM_MS ? '' : `${passedWords(1000 * Math.floor(passedMs / 1000)).replace('.0', '')} so far`;
}

const SAID_FROM_MS = 3000;

function joined(name: string, rest: string, columns: number, style: Style): string {
  if (rest === '') return fitText(name, columns);
  const room = columns - rest.length - 2;
  if (room < LEAST_NAME) return fitText(rest, columns);
  return `${fitText(name, room)}: ${style.dim(rest)}`;
}

/** Less of a name than this tells nothing. */
const LEAST_NAME = 6;

function endWords(event: ProgressEvent & { readonly kind: 'stage-end' }, stage: Running | undefined): string {
  const losses = stage && stage.leftOut > 0 ? `, ${stage.leftOut} left out` : '';
  if (event.resumed) return `taken from the work folder${losses}`;
  const { elapsedMs } = event;
  const figures =
    stage && stage.unit !== 'steps' && elapsedMs > 0 ? [totalWords(stage), rateOver(stage, elapsedMs)] : [];
  return `done in ${passedWords(elapsedMs)}${figures.length > 0 ? ` (${figures.join(', ')})` : ''}${losses}`;
}

function totalWords({ total, unit }: Running): string {
  return amountWords(total, total, unit).replace(/^\S+ of /, '');
}

function rateOver({ total, unit }: Running, elapsedMs: number): string {
  return rateWords((1000 * total) / elapsedMs, unit);
}
