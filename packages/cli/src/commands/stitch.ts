import { join, resolve } from 'node:path';
import type { MasterOptions, StitchOptions, StitchResult } from '@plenilune/core';
import { UsageError } from '@plenilune/core/errors';
import { type Command, Option } from 'commander';
import { bytes, choicesOf, crop, wholeNumber } from '../arguments.js';
import { tellBelow } from '../help.js';
import { count, ended, noteLines, tally } from '../lines.js';
import { type CommonOptions, runCommand, withCommonOptions } from '../run.js';

interface StitchArguments extends CommonOptions {
  readonly out?: string;
  readonly work?: string;
  readonly workers?: number;
  readonly memory?: number;
  readonly maps?: boolean;
  readonly albedo?: string;
  readonly map?: NonNullable<StitchOptions['map']>;
  readonly northUp?: boolean;
  readonly exr?: NonNullable<MasterOptions['exr']>;
  readonly tiffFloat?: boolean;
  readonly encoding?: NonNullable<MasterOptions['encoding']>;
  readonly primaries?: NonNullable<MasterOptions['primaries']>;
  readonly background?: NonNullable<MasterOptions['background']>;
  readonly matte?: boolean;
  readonly crop?: NonNullable<MasterOptions['crops']>;
  readonly cropFormat?: NonNullable<MasterOptions['cropFormat']>;
  readonly zoomTiles?: boolean;
  readonly xmp?: boolean;
  readonly otio?: boolean;
  readonly curve?: 'srgb' | 'linear' | 'bt709';
  readonly follow?: boolean;
  readonly force?: boolean;
}

const MORE = `
More files:  --exr half|float, --tiff-float, --matte, --crop WxH[@X,Y], --crop-format tif|png,
             --xmp, --otio, --zoom-tiles, --maps (coverage), --map orthographic|equirectangular
The plate:   --encoding srgb|linear|bt709|bt1886, --primaries bt709|p3|bt2020|aces-ap0|aces-ap1,
             --background keep|subtract|cut (the sky; cut: body alone), --north-up (stacks twice)
Interrupted? Run the same command again: finished stages are taken from the work folder.
Examples:
  plenilune stitch out/rehearsal/capture --out out/first-plate
  plenilune stitch night --out plates/night --exr half --primaries aces-ap1 --matte --crop 3840x2160`;

/** Options that {@link MORE} tells of. */
const BELOW = [
  '--north-up',
  '--maps',
  '--map',
  '--exr',
  '--tiff-float',
  '--encoding',
  '--primaries',
  '--background',
  '--matte',
  '--crop',
  '--crop-format',
  '--zoom-tiles',
  '--xmp',
  '--otio',
];

const PROJECTIONS = choicesOf<NonNullable<StitchOptions['map']>>({ orthographic: true, equirectangular: true });
const EXR_SAMPLES = choicesOf<NonNullable<MasterOptions['exr']>>({ half: true, float: true });
const ENCODINGS = choicesOf<NonNullable<MasterOptions['encoding']>>({
  srgb: true,
  linear: true,
  bt709: true,
  bt1886: true,
});
const PRIMARIES = choicesOf<NonNullable<MasterOptions['primaries']>>({
  bt709: true,
  p3: true,
  bt2020: true,
  'aces-ap0': true,
  'aces-ap1': true,
});
const BACKGROUNDS = choicesOf<NonNullable<MasterOptions['background']>>({ keep: true, subtract: true, cut: true });
const CROP_FORMATS = choicesOf<NonNullable<MasterOptions['cropFormat']>>({ tif: true, png: true });

/** `stitch`: makes a plate of a capture. */
export function addStitch(program: Command, settle: (exitCode: number) => void): void {
  const command = withCommonOptions(
    program
      .command('stitch')
      .summary('make a plate of a capture')
      .description('Makes one plate of the passes in a capture folder. The capture is only read.')
      .argument('<capture>', 'the folder that holds the passes of one night')
      .option('--out <folder>', 'where the plate, its sidecar, preview and report go; required')
      .option('--work <folder>', 'where finished stages are kept (default: in the output, for the time being)')
      .option('--workers <number>', 'threads; never changes the result (default: one per core)', wholeNumber(1))
      .option('--memory <amount>', 'memory to stay within; never changes the result (default: 2GiB)', bytes)
      .option('--albedo <picture>', 'an equirectangular map of the Moon: tells exactly where the plate lies')
      .addOption(new Option('--curve <name>', 'encoding of the frames').choices(['srgb', 'linear', 'bt709']))
      .option('--follow', 'follow symbolic links in the capture, also those that lead out of it')
      .option('--north-up')
      .option('--maps')
      .addOption(new Option('--map <projection>').choices(PROJECTIONS))
      .addOption(new Option('--exr <samples>').choices(EXR_SAMPLES))
      .option('--tiff-float')
      .addOption(new Option('--encoding <name>').choices(ENCODINGS))
      .addOption(new Option('--primaries <name>').choices(PRIMARIES))
      .addOption(new Option('--background <what>').choices(BACKGROUNDS))
      .option('--matte')
      .option('--crop <size>', '', crop)
      .addOption(new Option('--crop-format <name>').choices(CROP_FORMATS))
      .option('--zoom-tiles')
      .option('--xmp')
      .option('--otio')
      .option('--force', 'replace a plate that is there already'),
  );
  tellBelow(command, BELOW)
    .addHelpText('after', MORE)
    .action(async (capture: string, options: StitchArguments) => {
      const {
        out,
        work,
        workers,
        memory,
        maps = false,
        xmp = false,
        otio = false,
        albedo,
        map,
        northUp = false,
        curve,
        follow = false,
        force = false,
      } = options;
      settle(
        await runCommand({ ...options, ...keeping(options) }, async ({ signal, onProgress }) => {
          if (out === undefined) throw new UsageError('--out <folder> is missing; say where the plate is to go');
          const { stitch } = await import('@plenilune/core');
          const { whereLines } = await import('../where-lines.js');
          const result = await stitch(capture, {
            outDir: out,
            force,
            follow,
            signal,
            onProgress,
            ...(work === undefined ? {} : { workDir: work }),
            maps,
            northUp,
            masters: mastersOf(options),
            xmp,
            otio,
            ...(memory === undefined ? {} : { memoryBytes: memory }),
            ...(workers === undefined ? {} : { workers }),
            ...(map === undefined ? {} : { map }),
            ...(albedo === undefined ? {} : { albedoPath: albedo }),
            ...(curve === undefined ? {} : { curve }),
          });
          return { machine: result, summary: describe(result, whereLines(result.where)), complete: result.complete };
        }),
      );
    });
}

/** Where finished stages are kept. */
function keeping({ out, work }: StitchArguments): { readonly keptIn?: string } {
  const folder = work ?? (out && join(out, 'work'));
  return folder ? { keptIn: resolve(folder) } : {};
}

function mastersOf(options: StitchArguments): MasterOptions {
  const { exr, tiffFloat, encoding, primaries, background, matte, crop, cropFormat, zoomTiles } = options;
  return {
    ...(exr === undefined ? {} : { exr }),
    ...(encoding === undefined ? {} : { encoding }),
    ...(primaries === undefined ? {} : { primaries }),
    ...(background === undefined ? {} : { background }),
    ...(crop === undefined ? {} : { crops: crop }),
    ...(cropFormat === undefined ? {} : { cropFormat }),
    floatTiff: tiffFloat ?? false,
    matte: matte ?? false,
    zoomTiles: zoomTiles ?? false,
  };
}

function describe(result: StitchResult, whereLines: readonly string[]): string[] {
  const { widthPx, heightPx, passes, complete, gaps, leftOut } = result;
  const used = passes.reduce((sum, pass) => sum + pass.used, 0);
  const frames = passes.reduce((sum, pass) => sum + pass.of, 0);
  const placed = count(passes.filter((pass) => pass.placed).length, 'pass', 'passes');
  const lines = [`A plate of ${widthPx} x ${heightPx} px from ${used} of ${frames} frames of ${placed}.`];
  const byLimb = passes.filter((pass) => pass.placedBy === 'limb').map((pass) => `"${pass.name}"`);
  const byGuide = passes.filter((pass) => pass.placedBy === 'guide').map((pass) => `"${pass.name}"`);
  if (byGuide.length > 0) lines.push(`Placed on the guide alone, true to about a pixel of it: ${byGuide.join(', ')}.`);
  if (byLimb.length > 0) lines.push(`Placed by its limb alone, true to a few pixels only: ${byLimb.join(', ')}.`);
  for (const { fixed, moving, refused, detail } of result.overlaps) {
    if (refused !== null) lines.push(`An overlap was not believed: "${fixed}" with "${moving}": ${detail}.`);
  }
  if (!complete) {
    lines.push('It is incomplete; what is missing is left transparent:');
    lines.push(...gaps.map(({ where }) => `  ${where}`));
  }
  lines.push(...whereLines);
  lines.push(...noteLines(result.notices.filter(({ reason }) => !reason.startsWith('crop-'))));
  if (leftOut.length > 0) lines.push(`Left out: ${tally(leftOut)}. The sidecar lists each one.`);
  const { bytes: taken, kept, folder } = result.scratch;
  lines.push(`Scratch on disk: ${inGiB(taken)}, ${kept ? `kept in ${folder}` : 'removed'}.`);
  lines.push(...cropLines(result));
  const more = [...result.masterPaths, ...result.wherePaths];
  if (more.length > 0) lines.push(`more     ${more.join(', ')}`);
  if (result.mapPaths) lines.push(`maps     ${Object.values(result.mapPaths).join(', ')}`);
  if (result.otioPath) lines.push(`timeline ${result.otioPath}`);
  if (result.xmpPath) lines.push(`metadata ${result.xmpPath}`);
  lines.push(`plate    ${result.platePath}`, `preview  ${result.previewPath}`, `sidecar  ${result.sidecarPath}`);
  return [...lines, `report   ${result.reportPath}`];
}

/** Of each crop what of it is empty, and how far its picture can be enlarged. */
function cropLines({ crops, notices }: StitchResult): string[] {
  return crops.flatMap(({ file, widthPx, heightPx, largestPushIn }) => {
    const notes = notices.filter(({ item, reason }) => item === file && reason.startsWith('crop-'));
    const told = notes.map(({ detail }) => `Note on ${file}: ${ended(detail)}`);
    const widest = `${Math.floor(widthPx * largestPushIn)} x ${Math.floor(heightPx * largestPushIn)} px`;
    const percent = Math.floor(100 * largestPushIn);
    const view = `the widest view of its shape that is covered throughout, ${widest},`;
    if (percent < 100) return [...told, `${file}: ${view} is smaller than it.`];
    return [
      ...told,
      `${file}: a shot that begins on ${view} can be enlarged to ${percent} % before a pixel of the plate is larger than one of the frame.`,
    ];
  });
}

function inGiB(amount: number): string {
  return amount < 2 ** 30 ? `${Math.ceil(amount / 2 ** 20)} MiB` : `${(amount / 2 ** 30).toFixed(1)} GiB`;
}
