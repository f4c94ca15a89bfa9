import type { ScoreReport } from '@plenilune/core';
import type { Command } from 'commander';
import { type CommonOptions, runCommand, withCommonOptions } from '../run.js';

interface ScoreArguments extends CommonOptions {
  readonly linear?: boolean;
}

const EXAMPLES = `
Examples:
  plenilune score out/first-plate/plate.tif out/rehearsal
  plenilune score plate.tif out/rehearsal --json > score.json`;

/** `score`: compares a plate with the truth of its rehearsal. */
export function addScore(program: Command, settle: (exitCode: number) => void): void {
  withCommonOptions(
    program
      .command('score')
      .summary("compare a plate with a rehearsal's truth")
      .description('Compares a plate with the truth of the rehearsal that it was stitched from.')
      .argument('<plate>', 'the plate, TIFF or PNG')
      .argument('<truth>', 'the rehearsal: the folder with truth.png and truth.json')
      .option('--linear', "the plate's values are linear light, not sRGB-encoded"),
  )
    .addHelpText('after', EXAMPLES)
    .action(async (plate: string, truth: string, options: ScoreArguments) => {
      const { linear = false } = options;
      settle(
        await runCommand(options, async ({ signal }) => {
          const { scorePlate } = await import('@plenilune/core');
          const report = await scorePlate(plate, truth, { signal, linear });
          return { machine: report, summary: describe(report), complete: true };
        }),
      );
    });
}

function describe(report: ScoreReport): string[] {
  const { plateWidthPx, plateHeightPx, scaleVsFrame, covered, geometryRmsPx, geometryMaxPx } = report;
  const { lowfreqLogRatioStd, transfer, coherence } = report;
  const list = (values: readonly number[]): string => values.map((value) => value.toFixed(2)).join('  ') || 'none';
  return [
    `plate       ${plateWidthPx} x ${plateHeightPx} px, ${scaleVsFrame.toFixed(4)} of the frames' scale`,
    `covered     ${(100 * covered).toFixed(2)} % of the lit ground`,
    `geometry    ${geometryRmsPx.toFixed(3)} px rms, ${geometryMaxPx.toFixed(3)} px at most, against the truth`,
    `brightness  ${(100 * lowfreqLogRatioStd).toFixed(2)} % spread over the plate`,
    `contrast    ${list(transfer)}  kept, from coarse to fine detail`,
    `coherence   ${list(coherence)}  from coarse to fine detail`,
  ];
}
