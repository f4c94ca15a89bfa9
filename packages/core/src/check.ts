import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { inferSettings } from './capture/infer-settings.js';
import type { Notice, Pass, RecordedExposure } from './capture/pass.js';
import { scanCapture } from './capture/scan.js';
import { type SettingsFields, settingsFields } from './capture/settings-fields.js';
import { SETTINGS_FILE } from './capture/settings-read.js';
import { writeSettingsTemplate } from './capture/settings-template.js';
import type { TimeSource } from './capture/time-resolve.js';
import { needsMore } from './check/findings.js';
import { type Look, lookAt } from './check/look.js';
import { type TimeLeft, timeLeft } from './check/time-left.js';
import { quantile } from './compute/quantile.js';
import { runJob } from './job/context.js';
import { type LeftOut, OutputError } from './job/errors.js';
import type { ProgressListener } from './job/progress.js';
import { writeWhole } from './plate/atomic.js';

/** Settings of {@link checkCapture}. */
export interface CheckOptions {
  /**
   * Look at pictures, too: every eighth frame or so, small. Default true; not when settings are written.
   */
  readonly look?: boolean;
  /** Threads. Default: one per core. */
  readonly workers?: number;
  /** The moment from which the time that is left counts. Default: now. */
  readonly now?: Date;
  /** Told what the capture holds as soon as that is known, before any picture is looked at. Default: nobody is told. */
  readonly onListed?: (found: CheckResult) => void;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
  /**
   * Write a `capture.yaml` into the capture, with what could be inferred and every other field as a comment; into a folder
   * without a pass, too, which is to become a capture. Default false.
   */
  readonly init?: boolean;
  /** Follow symbolic links in the capture, also those that lead out of it. Default false. */
  readonly follow?: boolean;
  readonly signal?: AbortSignal;
}

/** A pass as {@link checkCapture} finds it. */
export interface CheckedPass {
  readonly name: string;
  readonly kind: 'stills' | 'clip';
  readonly frames: number;
  /** Upright size of its frames. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** 1 for grey, 3 for RGB. */
  readonly channels: 1 | 3;
  /** Median exposure of its frames; null where none is recorded. */
  readonly exposureS: number | null;
  /**
   * When its earliest and its latest frame began, ISO 8601 in UTC; null where that is not known. They are the first and
   * the last one by name, too, unless a clock went back or only the file system tells: copies are written in any order.
   */
  readonly firstUtc: string | null;
  readonly lastUtc: string | null;
  /** Where these moments come from; `file`: only the file system knows, so that they may be those of a copy. */
  readonly timeFrom: TimeSource | null;
  /** From its earliest frame to its latest, s; null where frames have no moments on one clock. */
  readonly durationS: number | null;
}

/** What {@link checkCapture} has found. */
export interface CheckResult {
  /** Absolute path. */
  readonly root: string;
  readonly passes: readonly CheckedPass[];
  /** The picture of the whole disc, relative to the capture. */
  readonly guide: string | null;
  readonly calibration: readonly { readonly kind: 'dark' | 'flat' | 'bias'; readonly frames: number }[];
  /** What is used all the same, but is worth knowing. */
  readonly notices: readonly Notice[];
  /** What would not be used, and why. */
  readonly leftOut: readonly LeftOut[];
  /** Absolute path of the settings that `init` has written. */
  readonly settingsPath: string | null;
  /** What these settings say, and what they leave to be said by hand; null without `init`. */
  readonly settingsFields: SettingsFields | null;
  /** How long the body stays high enough; null where the settings give no site. */
  readonly timeLeft: TimeLeft | null;
  /** What the pictures show; null where none was looked at. */
  readonly look: Look | null;
  /** Whether the whole lit disc is covered, sharp and unclipped; null where no picture was looked at. */
  readonly complete: boolean | null;
}

/**
 * Says what a capture holds, and whether it will do: its passes, guide and calibration frames, their sizes, moments and
 * exposures; then, from a part of the frames, what of the disc is covered by how many sharp frames, what is missing, clipped,
 * soft, clouded or bumped, and what to shoot again. The capture is only read, but for the settings that `init` asks for.
 *
 * @throws InputError CAPTURE_UNREADABLE, SETTINGS_INVALID, TABLE_UNREADABLE, CAPTURE_EMPTY but for `init`, PASS_UNUSABLE
 * @throws OutputError OUTPUT_EXISTS when `init` finds settings already: they are never replaced; OUTPUT_UNWRITABLE
 * @throws InterruptedError once the signal has fired
 * @throws ResourceError OUT_OF_SPACE, OUT_OF_MEMORY
 */
export async function checkCapture(captureDir: string, options: CheckOptions = {}): Promise<CheckResult> {
  const { init = false, look = !init, follow, signal, workers, now = new Date(), onListed, onProgress } = options;
  const capture = await scanCapture(captureDir, { follow, mayBeEmpty: init, signal });
  const settingsPath = init ? join(capture.root, SETTINGS_FILE) : null;
  const inferred = init ? await inferSettings(capture) : null;
  if (settingsPath !== null && inferred !== null) {
    const text = writeSettingsTemplate(inferred);
    await writeWhole(settingsPath, (temporary) => writeFile(temporary, text)).catch(keepSettings);
  }
  const listed: CheckResult = {
    root: capture.root,
    passes: capture.passes.map(describe),
    guide: capture.guide?.item ?? null,
    calibration: capture.calibration.map(({ kind, pass }) => ({ kind, frames: pass.frames.length })),
    notices: capture.notices,
    leftOut: capture.leftOut,
    settingsPath,
    settingsFields: inferred && settingsFields(inferred),
    timeLeft: timeLeft(capture.settings, now),
    look: null,
    complete: null,
  };
  onListed?.(listed);
  if (!look || capture.passes.length === 0) return listed;
  const workDir = await mkdtemp(join(tmpdir(), 'plenilune-check-'));
  try {
    const found = await runJob({ workDir, workers, signal, onProgress }, (context) => lookAt(context, capture));
    return { ...listed, look: found, complete: !needsMore(found.findings) };
  } finally {
    await rm(workDir, { recursive: true, force: true });
  }
}

function keepSettings(error: unknown): never {
  if (!(error instanceof OutputError) || error.code !== 'OUTPUT_EXISTS') throw error;
  throw new OutputError(
    'OUTPUT_EXISTS',
    `The capture has a ${SETTINGS_FILE} already, which is never replaced. Rename it first to begin anew.`,
  );
}

function describe(pass: Pass): CheckedPass {
  const { name, kind, frames, widthPx, heightPx, channels } = pass;
  const moments = frames.flatMap(({ time }) => time?.utc ?? []).sort();
  const exposures = frames.flatMap(({ recorded }) => (recorded as RecordedExposure | undefined)?.exposureS ?? []);
  return {
    name,
    kind,
    frames: frames.length,
    widthPx,
    heightPx,
    channels,
    exposureS: exposures.length > 0 ? quantile(exposures, 0.5) : null,
    firstUtc: moments[0] ?? null,
    lastUtc: moments.at(-1) ?? null,
    timeFrom: frames[0]?.time?.source ?? null,
    durationS: durationOf(pass),
  };
}

function durationOf(pass: Pass): number | null {
  if (pass.kind === 'clip') {
    const { times, tick } = pass.clip;
    return times && (times.at(-1)! - times[0]!) * tick;
  }
  const clocks = pass.frames.flatMap(({ time }) => time?.clockMs ?? []);
  return clocks.length > 1 ? (Math.max(...clocks) - Math.min(...clocks)) / 1000 : null;
}
