import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { stringify } from 'yaml';
import { SETTINGS_FILE } from '../capture/settings-read.js';
import { createRandom, type Random } from '../compute/random.js';
import { throwIfAborted } from '../job/errors.js';
import type { ProgressListener } from '../job/progress.js';
import { tellStage } from '../job/tell-stage.js';
import { encodingTable, normalDeviates, recordFrame, type Studio } from './frame.js';
import { drawIntruders, type Intruder } from './intruders.js';
import { planPasses, type TruePass, trackPasses } from './poses.js';
import { drawScene, type Scene } from './scene.js';
import { warpSequence } from './seeing.js';
import { makeSensor } from './sensor.js';
import { completeSettings, type RehearsalSettings } from './settings.js';
import { describeTruth, poseFile, truthPixels } from './truth.js';
import { createWarpMeter, type WarpMeter } from './warp-meter.js';
import { replaceFolder, writeJson, writePicture } from './write.js';

export { REHEARSAL_DEFAULTS, type RehearsalSeeing, type RehearsalSettings, type TrackPlace } from './settings.js';

/** How a rehearsal is run, which has no influence on its files. */
export interface RehearsalOptions {
  readonly signal?: AbortSignal;
  readonly onProgress?: ProgressListener;
  /** Replace an existing rehearsal of the same name. */
  readonly force?: boolean;
}

/** What a rehearsal made. Lengths are frame px. */
export interface RehearsalSummary {
  readonly dir: string;
  readonly passes: readonly { readonly name: string; readonly frames: number }[];
  readonly frames: number;
  /** Longer side of the lit ground: the reference length D of the truth files. */
  readonly litPx: number;
  /** Share of the lit ground that at least one frame shows. */
  readonly coveredShare: number;
  /** What the air leaves in the mean of all frames: see `mean_warp` in truth.json. */
  readonly meanWarpRmsPx: number;
}

/** Truth px per frame px. */
const OVERSAMPLING = 1.25;

/**
 * Makes a synthetic night with known truth in `dir`: capture/PASS/frame_0000.png or .tif, poses.json, truth.png,
 * truth.json and flat.png, and capture/capture.yaml, which says that it is synthetic and what `captureSettings` say. The same
 * settings give the same files. `dir` appears whole or not at all.
 *
 * Throws UsageError for settings that cannot be honoured, OutputError (OUTPUT_EXISTS), InterruptedError.
 */
export async function rehearse(
  dir: string,
  settings: Partial<RehearsalSettings> = {},
  options: RehearsalOptions = {},
): Promise<RehearsalSummary> {
  const complete = completeSettings(settings);
  let summary: RehearsalSummary | undefined;
  await replaceFolder(dir, options.force === true, isRehearsal, async (folder) => {
    summary = { ...(await fill(folder, complete, options)), dir };
  });
  return summary!;
}

function isRehearsal(entries: readonly string[]): boolean {
  return ['capture', 'poses.json', 'truth.json', 'truth.png'].every((name) => entries.includes(name));
}

async function fill(
  folder: string,
  settings: RehearsalSettings,
  options: RehearsalOptions,
): Promise<Omit<RehearsalSummary, 'dir'>> {
  const random = createRandom(settings.seed);
  throwIfAborted(options.signal);
  const { onProgress = () => {} } = options;
  const studio = await tellStage(onProgress, { stage: 'scene', total: 1, unit: 'steps' }, () =>
    prepareStudio(folder, settings, random),
  );
  const { scene } = studio;
  const size = litSize(scene);
  const night = random.fork('night');
  const passes =
    settings.tracks.length > 0
      ? trackPasses(settings, discFromCapture(studio), night)
      : planPasses(settings, size, night);
  const { frameWidthPx, frameHeightPx } = settings;
  const meter = createWarpMeter(scene, OVERSAMPLING, studio.captureCentre, frameWidthPx, frameHeightPx);
  const total = passes.reduce((sum, pass) => sum + pass.poses.length, 0);
  const intruders = await tellStage(onProgress, { stage: 'frames', total, unit: 'frames' }, (step) =>
    recordPasses(folder, studio, passes, meter, random, { signal: options.signal, step }),
  );
  const warp = meter.summary();
  const litPx = Math.max(size.width, size.height);
  const said = stringify({ synthetic: true, ...settings.captureSettings });
  await writeFile(join(folder, 'capture', SETTINGS_FILE), said);
  await writeJson(join(folder, 'poses.json'), poseFile(settings, passes, litPx, OVERSAMPLING));
  await writeJson(join(folder, 'truth.json'), describeTruth(studio, litPx, warp, intruders));
  return {
    passes: passes.map((pass) => ({ name: pass.name, frames: pass.poses.length })),
    frames: passes.reduce((sum, pass) => sum + pass.poses.length, 0),
    litPx,
    coveredShare: warp.coveredShare,
    meanWarpRmsPx: warp.rmsPx,
  };
}

function furnish(settings: RehearsalSettings, scene: Scene, random: Random): Studio {
  const { left, right, top, bottom } = scene.lit;
  return {
    settings,
    scene,
    oversampling: OVERSAMPLING,
    captureCentre: [(left + right) / 2, (top + bottom) / 2],
    sensor: makeSensor(settings, random.fork('sensor')),
    encoding: encodingTable(settings.bits),
    deviates: normalDeviates(random.fork('deviates')),
  };
}

/** The disc's centre counted from the capture's, frame px. */
function discFromCapture({ scene, captureCentre, oversampling }: Studio): [number, number] {
  const { centreX, centreY } = scene.disc;
  return [(centreX - captureCentre[0]) / oversampling, (centreY - captureCentre[1]) / oversampling];
}

function litSize(scene: Scene): { width: number; height: number } {
  const { left, right, top, bottom } = scene.lit;
  return { width: (right - left + 1) / OVERSAMPLING, height: (bottom - top + 1) / OVERSAMPLING };
}

/** Draws the scene and what records it, and writes the truth about both. */
async function prepareStudio(folder: string, settings: RehearsalSettings, random: Random): Promise<Studio> {
  const scene = drawScene({ ...settings, diameterPx: settings.discDiameterPx * OVERSAMPLING }, random.fork('scene'));
  const studio = furnish(settings, scene, random);
  const { frameWidthPx, frameHeightPx } = settings;
  await writePicture(join(folder, 'truth.png'), truthPixels(scene), scene.width, scene.height, 'png');
  await writePicture(join(folder, 'flat.png'), studio.sensor.flat, frameWidthPx, frameHeightPx, 'png');
  return studio;
}

async function recordPasses(
  folder: string,
  studio: Studio,
  passes: readonly TruePass[],
  meter: WarpMeter,
  random: Random,
  { signal, step }: { readonly signal: AbortSignal | undefined; readonly step: (done: number) => void },
): Promise<Record<string, readonly Intruder[]>> {
  const { settings } = studio;
  const { frameWidthPx: width, frameHeightPx: height, format, seeing } = settings;
  const seen: Record<string, readonly Intruder[]> = {};
  let done = 0;
  // One frame is being encoded while the next is being drawn.
  let writing: Promise<void> = Promise.resolve();
  try {
    for (const pass of passes) {
      const passFolder = join(folder, 'capture', pass.name);
      await mkdir(passFolder, { recursive: true });
      const air = random.fork(`air-${pass.position}`);
      const intruders = drawIntruders(settings, pass.poses.length, random.fork(`intruders-${pass.position}`));
      if (intruders.length > 0) seen[pass.name] = intruders;
      const nextWarp = warpSequence(seeing, width, height, air);
      for (const pose of pass.poses) {
        throwIfAborted(signal);
        const warp = nextWarp(pose.frame);
        meter.add(pose, warp);
        const pixels = recordFrame(
          studio,
          pose,
          warp,
          random.fork(`noise-${pass.position}-${pose.frame}`),
          intruders.filter((one) => one.frame === pose.frame),
        );
        await writing;
        const name = `frame_${String(pose.frame).padStart(4, '0')}.${format}`;
        writing = writePicture(join(passFolder, name), pixels, width, height, format, pose.utc);
        writing.catch(() => {});
        step(++done);
        await new Promise((resolve) => setImmediate(resolve));
      }
    }
  } finally {
    await writing;
  }
  return seen;
}
