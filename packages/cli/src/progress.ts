import type { ProgressEvent, ProgressListener } from '@plenilune/core';
import { printable, type Style } from './style.js';

/** Where progress is written; a terminal also has a width. */
export interface ProgressStream {
  write(text: string): unknown;
  readonly isTTY?: boolean;
  readonly columns?: number;
}

/** Tells a person how far a job is. */
export interface ProgressView {
  readonly onProgress: ProgressListener;
  /** Takes an unfinished bar off the terminal, so that other words can follow. */
  clear(): void;
}

const BAR_CELLS = 24;
const REDRAW_MS = 80;

/** Progress for nobody. */
export const silent: ProgressView = { onProgress: () => {}, clear: () => {} };

/** A moving bar on a terminal; elsewhere a line when a stage starts and a line when it ends. */
export function createProgressView(stream: ProgressStream, style: Style): ProgressView {
  const isTerminal = stream.isTTY === true;
  let leftOut = 0;
  let drawnMs = Number.NEGATIVE_INFINITY;
  let barShown = false;

  const clear = (): void => {
    if (barShown) stream.write('\r\x1b[K');
    barShown = false;
  };
  const draw = (stage: string, done: number, total: number): void => {
    if (performance.now() - drawnMs < REDRAW_MS && done < total) return;
    drawnMs = performance.now();
    stream.write(`\r\x1b[K${bar(stage, done, total, stream.columns ?? 80)}`);
    barShown = true;
  };
  const onProgress = (event: ProgressEvent): void => {
    switch (event.kind) {
      case 'stage-start':
        leftOut = 0;
        drawnMs = Number.NEGATIVE_INFINITY;
        if (isTerminal) draw(title(event), 0, event.total);
        else stream.write(`${title(event)}: started\n`);
        return;
      case 'stage-step':
        if (isTerminal) draw(title(event), event.done, event.total);
        return;
      case 'left-out':
        leftOut++;
        return;
      case 'stage-end': {
        clear();
        const how = event.resumed ? 'taken from the work folder' : `done in ${seconds(event.elapsedMs)}`;
        const losses = leftOut > 0 ? `, ${leftOut} left out` : '';
        stream.write(`${title(event)}: ${style.dim(how + losses)}\n`);
      }
    }
  };
  return { onProgress, clear };
}

function title({ stage, subject }: { readonly stage: string; readonly subject?: string }): string {
  return subject === undefined ? stage : `${stage} ${printable(subject)}`;
}

function bar(stage: string, done: number, total: number, columns: number): string {
  const share = total > 0 ? Math.min(1, done / total) : 0;
  const filled = Math.round(BAR_CELLS * share);
  const text = `${stage} [${'='.repeat(filled)}${' '.repeat(BAR_CELLS - filled)}] ${done}/${total}`;
  return text.slice(0, Math.max(0, columns - 1));
}

function seconds(ms: number): string {
  return ms < 9950 ? `${(ms / 1000).toFixed(1)} s` : `${Math.round(ms / 1000)} s`;
}
