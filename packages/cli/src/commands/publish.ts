import { type MakerFacts, type PublishResult, publish, UsageError } from '@plenilune/core';
import type { Command } from 'commander';
import { wholeNumbers } from '../arguments.js';
import { count } from '../lines.js';
import { type CommonOptions, runCommand, withCommonOptions } from '../run.js';

interface PublishArguments extends CommonOptions, Omit<MakerFacts, 'keywords'> {
  readonly to?: string;
  readonly facts?: string;
  readonly licenceFile?: string;
  readonly keywords?: string;
  readonly sizes?: readonly number[];
  readonly watermark?: string;
  readonly keepLocation?: boolean;
  readonly force?: boolean;
}

const EXAMPLES = `
A creator, a licence and a title are needed, here or in a file of --facts; such a file has the form of capture.yaml
(title, rights, listing). Where the camera stood is told nowhere unless --keep-location asks for it.

Examples:
  plenilune publish plates/march --to packs/march --creator "A. Author" --licence CC-BY-4.0 \\
    --title "Waxing gibbous above the ridge"
  plenilune publish plates/march --to packs/march --facts night/capture.yaml --sizes 6000,3000 --watermark SAMPLE`;

/** `publish`: makes the pack of a plate that a library of pictures takes. */
export function addPublish(program: Command, settle: (exitCode: number) => void): void {
  withCommonOptions(
    program
      .command('publish')
      .summary('make a stock pack of a plate')
      .description(
        'Makes a folder of a plate that can be handed over: master, JPEGs, licence, listing, hashes, and metadata in all of it.',
      )
      .argument('<plate>', 'the folder that stitch wrote, or the plate in it')
      .option('--to <folder>', 'where the pack goes; required')
      .option('--facts <file>', 'a file such as capture.yaml, or its capture; options come first')
      .option('--creator <name>', 'who made it')
      .option('--licence <id>', 'SPDX identifier, such as CC-BY-4.0, or the terms in words')
      .option('--licence-file <file>', 'the text of a licence of your own')
      .option('--title <text>', '100 characters at most')
      .option('--description <text>', '7 words or more (default: what the plate shows)')
      .option('--alt-text <text>', 'for those who cannot see it (default: what the plate shows)')
      .option('--keywords <list>', 'further keywords, parted by commas')
      .option('--rights <text>', 'the copyright notice (default: year and creator)')
      .option('--credit <text>', 'how to name the source (default: the creator)')
      .option('--source <text>', 'where it comes from (default: the creator)')
      .option('--statement-url <url>', 'the page that states the rights (default: that of the licence)')
      .option('--licensor-name <name>', 'who grants licences (default: the creator)')
      .option('--licensor-url <url>', 'where licences are asked for')
      .option('--sizes <list>', 'longest sides of further JPEGs, px, such as 6000,3000', wholeNumbers)
      .option('--watermark <text>', 'a mark over preview and thumbnail; never over anything else')
      .option('--keep-location', 'say where the camera stood, as the facts do')
      .option('--force', 'replace a pack that is there already'),
  )
    .addHelpText('after', EXAMPLES)
    .action(async (plate: string, options: PublishArguments) => {
      settle(
        await runCommand(options, async ({ signal, onProgress }) => {
          const { to, facts, licenceFile, sizes, watermark, keepLocation = false, force = false } = options;
          if (to === undefined) throw new UsageError('--to <folder> is missing; say where the pack is to go');
          const result = await publish(plate, {
            toDir: to,
            maker: makerOf(options),
            keepLocation,
            force,
            signal,
            onProgress,
            ...(facts === undefined ? {} : { factsPath: facts }),
            ...(licenceFile === undefined ? {} : { licencePath: licenceFile }),
            ...(sizes === undefined ? {} : { sizesPx: sizes }),
            ...(watermark === undefined ? {} : { watermark }),
          });
          return { machine: result, summary: describe(result), complete: result.plate.complete };
        }),
      );
    });
}

const TEXTS = [
  ...(['creator', 'licence', 'title', 'description', 'altText', 'rights', 'credit', 'source'] as const),
  ...(['statementUrl', 'licensorName', 'licensorUrl'] as const),
] as const;

function makerOf(options: PublishArguments): MakerFacts {
  const texts = TEXTS.flatMap((name) => (options[name] === undefined ? [] : [[name, options[name]] as const]));
  return { ...Object.fromEntries(texts), keywords: options.keywords?.split(',') ?? [] };
}

function describe(result: PublishResult): string[] {
  const { packDir, title, pictures, keywords, licence, licensor, plate, leftOut } = result;
  const lines = [
    `"${title}": ${count(pictures.length, 'picture', 'pictures')}, ${count(keywords.length, 'keyword', 'keywords')}, ${licence.id ?? licence.name}.`,
    ...pictures.map(
      ({ file, widthPx, heightPx, marked }) => `  ${file}  ${widthPx} x ${heightPx} px${marked ? ', marked' : ''}`,
    ),
  ];
  if (licensor.url === null)
    lines.push('No --licensor-url: search engines will not offer it as a picture to be licensed.');
  if (result.takenUtc === null)
    lines.push('When it was taken is not known: its times cannot be trusted. Phase and features are left out.');
  lines.push(...leftOut.map(({ item, detail }) => `Left out: ${item}: ${detail}.`));
  if (!plate.complete) lines.push('The plate is incomplete; the listing says so.');
  return [...lines, `pack     ${packDir}`];
}
