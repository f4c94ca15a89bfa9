import { join } from 'node:path';
import type { BodyName, CaptureSettings } from '@plenilune/core';
import { PLAN_DEFAULTS } from '@plenilune/core/defaults';
import { type Command, Option } from 'commander';
import { angles, choicesOf, coordinates, number, size, wholeNumber } from '../arguments.js';
import { tellBelow } from '../help.js';
import { inOptions } from '../in-options.js';
import { PLAN_OPTION_OF, type PlanArguments, planRequest } from '../plan-request.js';
import { runCommand, withCommonOptions } from '../run.js';
import { shrunkFrames, shrunkLines } from '../shrunk-frames.js';

const { leastAltitudeDeg, bitDepth, framesPerSecond, terminatorWithinDeg, pointingErrorArcsec, overlap, reaimS } =
  PLAN_DEFAULTS;

const MORE = `
The camera:  --aperture MM, --reducer FACTOR, --readout MS, --bits N (${bitDepth}), --fps N (${framesPerSecond})
The aims:    --pointing ARCSEC (${pointingErrorArcsec}), --overlap SHARE (${overlap}), --roll DEG, --reaim S (${reaimS}), --window N
More wishes: --body moon|sun|PLANET, --altitude DEG (${leastAltitudeDeg}), --sky dark|twilight|any, --zone NAME,
             --elongation A..B (180: full), --colongitude A..B, --within DEG (${terminatorWithinDeg}), --like DATE
Exit code 4: no window was found, or the chosen one is too short for all passes.
Examples:
  plenilune plan --settings night/capture.yaml --from 2031-03-01 --to 2031-03-31 --html plan.html
  plenilune plan --settings night --from 2031-03-01 --to 2031-03-31 --feature Copernicus`;

/** Options that {@link MORE} tells of. */
const BELOW = [
  '--force',
  ...['--aperture', '--reducer', '--readout', '--bits', '--fps', '--pointing', '--overlap', '--reaim', '--roll'],
  ...['--window', '--elongation', '--colongitude', '--like', '--within', '--sky', '--body', '--altitude', '--zone'],
];

const BODIES = choicesOf<BodyName>({
  ...{ moon: true, sun: true, mercury: true, venus: true, mars: true },
  ...{ jupiter: true, saturn: true, uranus: true, neptune: true },
});

/** `plan`: says which nights and hours to shoot, and with which passes. */
export function addPlan(program: Command, settle: (exitCode: number) => void): void {
  const command = withCommonOptions(
    program
      .command('plan')
      .summary('say which nights and hours to shoot, and with which passes')
      .description('Finds the windows in which a wish holds, and the fewest passes that cover the disc in one of them.')
      .option('--settings <file>', 'site, optics and sensor from a file such as capture.yaml; options come first')
      .option('--site <lat,lon[,m]>', 'degrees, north and east positive, and metres', coordinates)
      .option('--zone <name>')
      .option('--focal <mm>', 'focal length', number)
      .option('--aperture <mm>', '', number)
      .option('--reducer <factor>', '', number)
      .option('--sensor <size>', 'recorded pixels, such as 4096x2160', size)
      .option('--pitch <um>', 'pitch of the pixels', number)
      .option('--readout <ms>', '', number)
      .option('--bits <number>', '', wholeNumber(1))
      .option('--fps <number>', '', number)
      .addOption(new Option('--body <name>').choices(BODIES))
      .option('--from <date>', 'first day or moment of the search, in UTC unless it says so itself; required')
      .option('--to <date>', 'last day or moment; required')
      .option('--altitude <deg>', '', number)
      .addOption(new Option('--sky <kind>').choices(['dark', 'twilight', 'any']))
      .option('--elongation <a..b>', '', angles)
      .option('--colongitude <a..b>', '', angles)
      .option('--feature <name>', 'a named feature that is to be lit near the terminator')
      .option('--within <deg>', '', number)
      .option('--like <date>')
      .option('--window <number>', '', wholeNumber(1))
      .option('--pointing <arcsec>', '', number)
      .option('--overlap <share>', '', number)
      .option('--roll <deg>', '', number)
      .option('--reaim <s>', '', number)
      .option('--html <file>', 'write a sheet to be printed')
      .option('--ics <file>', 'write a calendar of the windows; --force replaces files that are there')
      .option('--rehearse <folder>', 'make a synthetic capture of these passes, with its truth')
      .option('--force'),
  );
  tellBelow(command, BELOW)
    .addHelpText('after', MORE)
    .action(async (options: PlanArguments) => {
      settle(
        await runCommand(options, async ({ signal, onProgress }) => {
          const { settings, html, ics, rehearse: folder, force = false } = options;
          const given = settings === undefined ? {} : await settingsIn(settings);
          const asked = planRequest(given, options);
          const { plan, planRehearsal, rehearse, writePlanFiles } = await import('@plenilune/core');
          const { planLines } = await import('../plan-lines.js');
          const made = await inOptions(PLAN_OPTION_OF, () => plan(asked));
          const rehearsal = folder !== undefined && made.shots ? planRehearsal(asked, made.shots) : null;
          const files = {
            force,
            ...(html === undefined ? {} : { htmlPath: html }),
            ...(ics === undefined ? {} : { icsPath: ics }),
          };
          const written = await writePlanFiles(made, files);
          const lines = [...planLines(made), ...written.map((path) => `written  ${path}`)];
          if (folder === undefined || !rehearsal) return { machine: made, summary: lines, complete: made.feasible };
          const { dir } = await rehearse(folder, rehearsal, { signal, onProgress, force });
          const shrunk = shrunkFrames(made.shots!, rehearsal);
          const captureDir = join(dir, 'capture');
          lines.push(...shrunkLines(shrunk), `rehearsed  ${captureDir}`);
          return { machine: { ...made, rehearsal: { captureDir, ...shrunk } }, summary: lines, complete: true };
        }),
      );
    });
}

async function settingsIn(path: string): Promise<CaptureSettings> {
  const { readSettingsFile } = await import('@plenilune/core');
  return readSettingsFile(path);
}
