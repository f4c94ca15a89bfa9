import type { CheckedPass, CheckResult } from '@plenilune/core';
import { UsageError } from '@plenilune/core/errors';
import type { Command } from 'commander';
import { wholeNumber } from '../arguments.js';
import { checkPack } from '../check-pack.js';
import { checkPlate } from '../check-plate.js';
import { drawCoverage } from '../draw-coverage.js';
import { count, ended, inColumns, noteLines, tally } from '../lines.js';
import { type CommonOptions, type Job, type Outcome, runCommand, withCommonOptions } from '../run.js';
import { watch } from '../watch.js';

interface CheckArguments extends CommonOptions {
  readonly init?: boolean;
  readonly watch?: boolean;
  readonly follow?: boolean;
  readonly workers?: number;
  readonly capture?: string;
}

const EXAMPLES = `
Ends with 4 when a part of the disc has to be shot again. Only --init writes into the capture.
Given a plate or a stock pack, it compares files with the hashes there; 3 when one differs.

Examples:
  plenilune check captures/2031-03-04
  plenilune check captures/2031-03-04 --watch
  plenilune check captures/2031-03-04 --init    # then edit captures/2031-03-04/capture.yaml
  plenilune check plates/march --capture captures/2031-03-04
  plenilune check packs/march`;

/** `check`: says what a capture holds, and whether it will do. */
export function addCheck(program: Command, settle: (exitCode: number) => void): void {
  withCommonOptions(
    program
      .command('check')
      .summary('say, while you can still reshoot, whether the whole disc is there')
      .description(
        'Says what passes a capture holds, and from a part of their frames whether the whole disc is covered, sharp and unclipped.',
      )
      .argument(
        '<capture>',
        'the folder that holds the passes of one night; or a plate, as its folder or sidecar; or a stock pack',
      )
      .option('--init', 'look at no picture; write a commented capture.yaml there, empty or not')
      .option('--watch', 'look again whenever files have arrived, until interrupted')
      .option('--workers <number>', 'threads (default: one per core)', wholeNumber(1))
      .option('--follow', 'follow symbolic links in the capture, also those that lead out of it')
      .option('--capture <folder>', 'with a plate: what it was made of, to be compared as well'),
  )
    .addHelpText('after', EXAMPLES)
    .action(async (capture: string, options: CheckArguments) => {
      settle(
        await runCommand(options, async (job) => {
          if (options.init && options.watch) throw new UsageError('--init and --watch exclude each other; give one');
          const { packAt, sidecarAt } = await import('@plenilune/core');
          const sidecar = await sidecarAt(capture);
          if (sidecar !== undefined) return checkPlate(sidecar, plateOnly(options), job);
          const pack = await packAt(capture);
          if (pack !== undefined) return checkPack(packOnly(pack, options), job);
          if (options.capture !== undefined)
            throw new UsageError(`--capture goes with a plate, and ${capture} has no plate.json; leave it out`);
          const check = () => checkOnce(capture, options, job);
          return options.watch ? watch(capture, check, job) : check();
        }),
      );
    });
}

/** The capture, when nothing was asked for that a plate cannot give. */
function plateOnly({ init, watch, capture }: CheckArguments): string | undefined {
  if (init || watch) throw new UsageError('--init and --watch need a capture, and this is a plate');
  return capture;
}

/** The pack, when nothing was asked for that a pack cannot give. */
function packOnly(pack: string, { init, watch, capture }: CheckArguments): string {
  if (init || watch) throw new UsageError('--init and --watch need a capture, and this is a stock pack');
  if (capture !== undefined)
    throw new UsageError(`--capture goes with a plate, and ${pack} is a stock pack; leave it out`);
  return pack;
}

async function checkOnce(
  capture: string,
  options: CheckArguments,
  { signal, onProgress, tell }: Job,
): Promise<Outcome> {
  const { init = false, follow = false, workers } = options;
  const { checkCapture } = await import('@plenilune/core');
  const result = await checkCapture(capture, {
    init,
    follow,
    signal,
    onProgress,
    onListed: (found) => tell(listing(found)),
    ...(workers === undefined ? {} : { workers }),
  });
  const summary = [...verdict(result), ...written(result)];
  return { machine: result, summary, complete: result.complete !== false };
}

/** What `--init` has written, and what is to be done with it. */
function written({ settingsPath, settingsFields }: CheckResult): string[] {
  if (settingsPath === null || settingsFields === null) return [];
  const { filledIn, off } = settingsFields;
  return [
    filledIn.length === 0 ? 'Nothing is filled in.' : `Filled in from the files: ${filledIn.join(', ')}.`,
    `Left as comments, each with an example: ${off.join(', ')}.`,
    `It is there to be edited: ${filledIn.length === 0 ? '' : 'put right what is filled in, and '}remove the # before what you know.`,
    'A site tells for how long the body stays up, and where the plate lies on it.',
    `settings ${settingsPath}`,
  ];
}

/** Items that are left out and named one by one. */
const MOST_NAMED = 5;

function listing({ passes, guide, calibration, notices, leftOut }: CheckResult): string[] {
  const lines = [
    passes.length === 0 ? 'No pass yet.' : `${count(passes.length, 'pass', 'passes')}:`,
    ...inColumns(passes.map(cellsOf)).map((line) => `  ${line}`),
  ];
  if (guide !== null) lines.push(`Guide: ${guide}.`);
  if (calibration.length > 0) {
    const sets = calibration.map(({ kind, frames }) => `${count(frames, 'frame', 'frames')} of ${kind}`);
    lines.push(`Calibration: ${sets.join(', ')}.`);
  }
  lines.push(...noteLines(notices));
  for (const { item, detail } of leftOut.slice(0, MOST_NAMED)) lines.push(`Left out: ${item}: ${ended(detail)}`);
  const more = leftOut.slice(MOST_NAMED);
  if (more.length > 0) lines.push(`Left out besides: ${tally(more)}. --json lists each one.`);
  return lines;
}

function verdict({ look, complete, timeLeft }: CheckResult): string[] {
  if (!look) return [];
  const looked = look.passes.reduce((sum, pass) => sum + pass.looked, 0);
  const lines = [...(look.coverage ? drawCoverage(look.coverage) : [])];
  for (const { detail, advice } of look.findings) lines.push(`${detail} ${advice}`);
  lines.push(
    complete
      ? `The lit disc is covered, sharp and unclipped, as far as ${count(looked, 'frame', 'frames')} tell.`
      : `Not complete, as far as ${count(looked, 'frame', 'frames')} tell.`,
  );
  if (timeLeft) lines.push(timeLine(timeLeft));
  return lines;
}

function timeLine({ altitudeDeg, leastAltitudeDeg, minutes, untilUtc }: NonNullable<CheckResult['timeLeft']>): string {
  if (altitudeDeg < 0) return 'By the clock of this machine the body is below the horizon now.';
  const stands = `The body stands ${Math.round(altitudeDeg)}° high now`;
  if (altitudeDeg < leastAltitudeDeg)
    return `${stands}: too low, the air spoils what is shot below ${leastAltitudeDeg}°.`;
  if (minutes === null) return `${stands}, and stays above ${leastAltitudeDeg}° for a day.`;
  return `${stands}, above ${leastAltitudeDeg}° for ${minutes} min more, until ${untilUtc!.slice(11, 16)} UTC.`;
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
