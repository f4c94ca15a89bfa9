import type { MakerFacts, PublishResult } from '@plenilune/core';
import { UsageError } from '@plenilune/core/errors';
import type { Command } from 'commander';
import { wholeNumbers } from '../arguments.js';
import { tellBelow } from '../help.js';
import { count, ended } from '../lines.js';
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

const MORE = `
More facts, which else follow from plate and creator:  --description, --alt-text, --keywords A,B,
  --rights, --credit, --source, --statement-url, --licensor-name, --licensor-url
A creator, a licence and a title are needed, here or in a file of --facts (title, rights, listing).
Examples:
  plenilune publish plates/march --to packs/march --facts night/capture.yaml --watermark SAMPLE
  plenilune publish plates/march --to packs/it --creator "A. B." --licence CC0-1.0 --title "Moon"`;

/** Options that {@link MORE} tells of. */
const BELOW = [
  ...['--description', '--alt-text', '--keywords', '--rights', '--credit', '--source'],
  ...['--statement-url', '--licensor-name', '--licensor-url'],
];

/** `publish`: makes the pack of a plate that a library of pictures takes. */
export function addPublish(program: Command, settle: (exitCode: number) => void): void {
  const command = withCommonOptions(
    program
      .command('publish')
      .summary('make a stock pack of a plate')
      .description(
        'Makes a folder to be handed over: master, JPEGs, licence, listing and hashes, metadata in all of it.',
      )
      .argument('<plate>', 'the folder that stitch wrote, or the plate in it')
      .option('--to <folder>', 'where the pack goes; required')
      .option('--facts <file>', 'a file such as capture.yaml, or its capture; options come first')
      .option('--creator <name>', 'who made it')
      .option('--licence <id>', 'SPDX identifier, such as CC-BY-4.0, or the terms in words')
      .option('--licence-file <file>', 'the text of a licence of your own')
      .option('--title <text>', '100 characters at most')
      .option('--description <text>')
      .option('--alt-text <text>')
      .option('--keywords <list>')
      .option('--rights <text>')
      .option('--credit <text>')
      .option('--source <text>')
      .option('--statement-url <url>')
      .option('--licensor-name <name>')
      .option('--licensor-url <url>')
      .option('--sizes <list>', 'longest sides of further JPEGs, px, such as 6000,3000', wholeNumbers)
      .option('--watermark <text>', 'a mark over preview and thumbnail; never over anything else')
      .option('--keep-location', 'say where the camera stood, as the facts do')
      .option('--force', 'replace a pack that is there already'),
  );
  tellBelow(command, BELOW)
    .addHelpText('after', MORE)
    .action(async (plate: string, options: PublishArguments) => {
      settle(
        await runCommand(options, async ({ signal, onProgress }) => {
          const { to, facts, licenceFile, sizes, watermark, keepLocation = false, force = false } = options;
          if (to === undefined) throw new UsageError('--to <folder> is missing; say where the pack is to go');
          const { publish } = await import('@plenilune/core');
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
  if (plate.synthetic) lines.push('The plate is synthetic: no photograph. The pack says so.');
  else if (result.takenUtc === null)
    lines.push('When it was taken is not known: its times cannot be trusted. Phase and features are left out.');
  lines.push(...leftOut.map(({ item, detail }) => `Left out: ${item}: ${ended(detail)}`));
  if (!plate.complete) lines.push('The plate is incomplete; the listing says so.');
  return [...lines, `pack     ${packDir}`];
}
