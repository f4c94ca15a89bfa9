import { type CheckedPass, type CheckResult, checkCapture } from '@plenilune/core';
import type { Command } from 'commander';
import { count, inColumns, noteLines, tally } from '../lines.js';
import { type CommonOptions, runCommand, withCommonOptions } from '../run.js';

interface CheckArguments extends CommonOptions {
  readonly init?: boolean;
  readonly follow?: boolean;
}

const EXAMPLES = `
Examples:
  plenilune check captures/2031-03-04
  plenilune check captures/2031-03-04 --init    # then edit captures/2031-03-04/capture.yaml`;

/** `check`: says what a capture holds. */
export function addCheck(program: Command, settle: (exitCode: number) => void): void {
  withCommonOptions(
    program
      .command('check')
      .summary('say what a capture holds')
      .description('Says what passes a capture holds and what would be left out. Headers are read, no pixel.')
      .argument('<capture>', 'the folder that holds the passes of one night')
      .option('--init', 'write a commented capture.yaml into the capture, with what could be inferred')
      .option('--follow', 'follow symbolic links in the capture, also those that lead out of it'),
  )
    .addHelpText('after', EXAMPLES)
    .action(async (capture: string, options: CheckArguments) => {
      const { init = false, follow = false } = options;
      settle(
        await runCommand(options, async ({ signal }) => {
          const result = await checkCapture(capture, { init, follow, signal });
          return { machine: result, summary: describe(result), complete: true };
        }),
      );
    });
}

function describe({ passes, guide, calibration, notices, leftOut, settingsPath }: CheckResult): string[] {
  const lines = [
    `${count(passes.length, 'pass', 'passes')}:`,
    ...inColumns(passes.map(cellsOf)).map((line) => `  ${line}`),
  ];
  if (guide !== null) lines.push(`Guide: ${guide}.`);
  if (calibration.length > 0) {
    lines.push(
      `Calibration: ${calibration.map(({ kind, frames }) => `${count(frames, 'frame', 'frames')} of ${kind}`).join(', ')}.`,
    );
  }
  lines.push(...noteLines(notices));
  if (leftOut.length > 0) lines.push(`Left out: ${tally(leftOut)}. --json lists each one.`);
  if (settingsPath !== null) lines.push(`settings ${settingsPath}`);
  return lines;
}

/** Name, frames, size, exposure, moment. */
function cellsOf(pass: CheckedPass): string[] {
  const { name, kind, frames, widthPx, heightPx, channels, exposureS } = pass;
  return [
    name,
    kind === 'clip' ? count(frames, 'picture of a clip', 'pictures of a clip') : count(frames, 'still', 'stills'),
    `${widthPx} x ${heightPx} px${channels === 1 ? ', grey' : ''}`,
    exposureS === null ? '' : shutter(exposureS),
    momentOf(pass),
  ];
}

/** Times of files are often those of a copy: how long it took says nothing, then. */
function momentOf({ firstUtc, durationS, timeFrom }: CheckedPass): string {
  if (firstUtc === null) return durationS ? `for ${seconds(durationS)}` : 'no time known';
  const began = `${firstUtc.slice(0, 19).replace('T', ' ')} UTC`;
  if (timeFrom === 'file') return `${began} by the file`;
  return durationS ? `${began}, for ${seconds(durationS)}` : began;
}

function shutter(exposureS: number): string {
  return exposureS < 0.5 ? `1/${Math.round(1 / exposureS)} s` : seconds(exposureS);
}

function seconds(value: number): string {
  return `${value < 10 ? value.toFixed(1) : Math.round(value)} s`;
}
