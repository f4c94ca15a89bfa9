import { join } from 'node:path';
import type { RehearsalSettings, RehearsalSummary } from '@plenilune/core';
import { REHEARSAL_DEFAULTS } from '@plenilune/core/defaults';
import { type Command, Option } from 'commander';
import { number, size, wholeNumber, wholeNumbers } from '../arguments.js';
import { inOptions, type OptionOf } from '../in-options.js';
import { type CommonOptions, runCommand, withCommonOptions } from '../run.js';

interface RehearseArguments extends CommonOptions {
  readonly seed: number;
  readonly disc: number;
  readonly frame: { readonly widthPx: number; readonly heightPx: number };
  readonly passes: number;
  readonly framesPerPass: number;
  readonly omit: readonly number[];
  readonly phase: number;
  readonly bits: '8' | '16';
  readonly format: 'png' | 'tif';
  readonly force?: boolean;
}

const EXAMPLES = `
Examples:
  plenilune rehearse out/rehearsal
  plenilune rehearse out/gap --disc 1600 --frame 960x540 --passes 4 --omit 2 --seed 7`;

/** `rehearse`: makes a synthetic capture with its truth. */
export function addRehearse(program: Command, settle: (exitCode: number) => void): void {
  const defaults = REHEARSAL_DEFAULTS;
  const frame = { widthPx: defaults.frameWidthPx, heightPx: defaults.frameHeightPx };
  withCommonOptions(
    program
      .command('rehearse')
      .summary('make a synthetic capture, with truth')
      .description(
        'Makes a synthetic capture whose truth is known. The same settings give the same files, bit for bit.',
      )
      .argument('<folder>', 'where the capture and its truth go')
      .option('--seed <number>', 'what chance is drawn from', wholeNumber(0), defaults.seed)
      .option('--disc <px>', 'diameter of the whole disc in frame pixels', number, defaults.discDiameterPx)
      .addOption(
        new Option('--frame <size>', 'size of the frames in pixels')
          .argParser(size)
          .default(frame, `${frame.widthPx}x${frame.heightPx}`),
      )
      .option('--passes <number>', 'passes; 0: as many as the lit ground needs', wholeNumber(0), defaults.passes)
      .option('--frames-per-pass <number>', 'frames of each pass', wholeNumber(1), defaults.framesPerPass)
      .addOption(
        new Option('--omit <list>', 'passes to leave out, counted from 0, such as 1,3')
          .argParser(wholeNumbers)
          .default(defaults.omitPasses, 'none'),
      )
      .option('--phase <degrees>', 'angle Sun-Moon-observer; 0 is full', number, defaults.phaseAngleDeg)
      .addOption(new Option('--bits <number>', 'bits per channel').choices(['8', '16']).default(String(defaults.bits)))
      .addOption(new Option('--format <name>', 'kind of file').choices(['png', 'tif']).default(defaults.format))
      .option('--force', 'replace a rehearsal that is there already'),
  )
    .addHelpText('after', EXAMPLES)
    .action(async (folder: string, options: RehearseArguments) => {
      const { force = false } = options;
      settle(
        await runCommand(options, async ({ signal, onProgress }) => {
          const { rehearse } = await import('@plenilune/core');
          const summary = await inOptions(OPTION_OF, () =>
            rehearse(folder, settingsOf(options), { signal, onProgress, force }),
          );
          return { machine: summary, summary: describe(summary), complete: true };
        }),
      );
    });
}

/** The options that stand for fields which the library may find fault with. */
const OPTION_OF: OptionOf = {
  ...{ discDiameterPx: '--disc', frameWidthPx: '--frame', frameHeightPx: '--frame', passes: '--passes' },
  ...{ framesPerPass: '--frames-per-pass', phaseAngleDeg: '--phase' },
};

function describe({ dir, passes, frames, coveredShare }: RehearsalSummary): string[] {
  return [
    `A rehearsal of ${passes.length} passes, ${frames} frames, that show ${(100 * coveredShare).toFixed(1)} % of the lit ground.`,
    `capture  ${join(dir, 'capture')}`,
    `truth    ${dir}`,
  ];
}

function settingsOf(options: RehearseArguments): Partial<RehearsalSettings> {
  return {
    seed: options.seed,
    discDiameterPx: options.disc,
    frameWidthPx: options.frame.widthPx,
    frameHeightPx: options.frame.heightPx,
    passes: options.passes,
    framesPerPass: options.framesPerPass,
    omitPasses: options.omit,
    phaseAngleDeg: options.phase,
    bits: options.bits === '16' ? 16 : 8,
    format: options.format,
  };
}
