import { realpath, rm } from 'node:fs/promises';
import { join, relative, resolve, sep } from 'node:path';
import { ownerAt } from './blend/blend-stage.js';
import type { Notice } from './capture/pass.js';
import type { RecordedCurve } from './capture/read-still.js';
import { refuseChanged } from './capture/refuse-changed.js';
import { scanCapture } from './capture/scan.js';
import { notableFeatures } from './georef/feature-overlay.js';
import type { MapProjection } from './georef/map-grid.js';
import { northUp } from './georef/north-up.js';
import { askMap, whereStage } from './georef/where-stage.js';
import { wherePaths, writeWhere } from './georef/write-where.js';
import { runJob } from './job/context.js';
import { type LeftOut, OutputError, UsageError } from './job/errors.js';
import type { ProgressListener } from './job/progress.js';
import { folderBytes } from './job/resources.js';
import { tellStage } from './job/tell-stage.js';
import { clearWorkFolder } from './job/work-folder.js';
import type { PlacedBy } from './placement/place-stage.js';
import { allOrNone } from './plate/all-or-none.js';
import { buildSidecar, describePasses } from './plate/build-sidecar.js';
import {
  type MapPaths,
  mapPaths,
  prepareOutput,
  sidecarText,
  writeMaps,
  writeSidecar,
  writeTimeline,
} from './plate/deliver.js';
import { findGaps, type Gap } from './plate/gaps.js';
import { limbOf } from './plate/limb-ellipse.js';
import { type MadePlate, makePlate } from './plate/make-plate.js';
import { mapPlate } from './plate/maps.js';
import { writePictures } from './plate/masters.js';
import { type MasterOptions, masterPaths, settleMasters } from './plate/masters-options.js';
import { plateOnDisk } from './plate/plate-source.js';
import type { SidecarCrop, SidecarOverlap } from './plate/sidecar.js';
import type { Whereabouts, WhereUnknown } from './plate/whereabouts.js';
import { masterXmp, requireKeywords } from './publish/master-xmp.js';
import { writePlateXmp } from './publish/plate-xmp.js';
import { reportInput } from './report/report-input.js';
import { writeReport } from './report/write-report.js';
import { siteOfSettings } from './sky/place-settings.js';

/** Settings of {@link stitch}. */
export interface StitchOptions {
  /** Folder for the plate, its preview, its sidecar and its report; made when missing. */
  readonly outDir: string;
  /**
   * Folder for finished stages, from which an interrupted run resumes; it stays. Default: `work` inside `outDir`, which is
   * removed once the plate is whole, but for what it did not make.
   */
  readonly workDir?: string;
  /** Threads. Default: one per core. Never changes the result. */
  readonly workers?: number;
  /**
   * Memory that the run should stay within, bytes, 256 MiB at least. Default 2 GiB. More is taken only where a single frame
   * needs it. Never changes the result.
   */
  readonly memoryBytes?: number;
  /** Write maps of coverage, weight and noise beside the plate. Default false. */
  readonly maps?: boolean;
  /**
   * A picture of the whole Moon, equirectangular, longitude 0 in the middle, to tell or to make exact where the plate lies
   * on it. Default none: site, clock and the way of the drift tell.
   */
  readonly albedoPath?: string;
  /** Write the plate as a map too, a GeoTIFF on the body's sphere: `map.tif`. Default none. */
  readonly map?: MapProjection;
  /**
   * Lay the plate with the body's north pole up; takes the time of stacking once more. Needs a site in the settings or an
   * `albedoPath`; where the plate's place cannot be told all the same, it stays as the first pass stands, and a notice says so.
   * Default false.
   */
  readonly northUp?: boolean;
  /** Colours, background and further files of the plate. Default: a 16-bit sRGB TIFF with the sky as it is. */
  readonly masters?: MasterOptions;
  /** Write the plate's metadata as `plate.xmp` beside it, for tools that want such a file. Default false. */
  readonly xmp?: boolean;
  /** Write `plate.otio`, an OpenTimelineIO timeline of the plate and the passes. Default false. */
  readonly otio?: boolean;
  /** How the frames are encoded. Default: as `capture.yaml` says, or else as the files say. */
  readonly curve?: RecordedCurve;
  /** Follow symbolic links in the capture, also those that lead out of it. Default false. */
  readonly follow?: boolean;
  /** Replace a plate that is there already. Default false. */
  readonly force?: boolean;
  readonly signal?: AbortSignal;
  /** Default: nobody is told. */
  readonly onProgress?: ProgressListener;
}

/** What {@link stitch} has made. */
export interface StitchResult {
  /** Absolute paths. */
  readonly platePath: string;
  readonly sidecarPath: string;
  readonly previewPath: string;
  /** A page to look at, which tells what the plate is made of. */
  readonly reportPath: string;
  /** Paths of the maps, where they were asked for. */
  readonly mapPaths: MapPaths | null;
  /** Paths of further masters, mattes, crops and deep-zoom descriptions that were asked for and written. */
  readonly masterPaths: readonly string[];
  /** Frames that were cut from the plate, and how far their picture can be enlarged. */
  readonly crops: readonly SidecarCrop[];
  /** Path of the metadata's own file, where it was asked for. */
  readonly xmpPath: string | null;
  /** The timeline, where it was asked for. */
  readonly otioPath: string | null;
  /** What the run has put on disk besides, and whether it is still there. */
  readonly scratch: { readonly folder: string; readonly bytes: number; readonly kept: boolean };
  readonly widthPx: number;
  readonly heightPx: number;
  /** Whether every pass was placed and the body is cut off nowhere. */
  readonly complete: boolean;
  /** Where the plate lies on its body, and what it shows; or why that is not known. */
  readonly where: Whereabouts | WhereUnknown;
  /** The drawing of named features and the map, where they could be written. */
  readonly wherePaths: readonly string[];
  readonly gaps: readonly Gap[];
  /** Passes by name, with the number of frames that are in the plate and of those that the pass has. */
  readonly passes: readonly {
    readonly name: string;
    readonly placed: boolean;
    /** By overlaps; on the guide, true to a pixel or two of the guide; or by its limb and the way of the sky alone. */
    readonly placedBy: PlacedBy;
    readonly used: number;
    readonly of: number;
  }[];
  /** Overlaps that were measured. */
  readonly overlaps: readonly SidecarOverlap[];
  /** What was used all the same, but is worth knowing. */
  readonly notices: readonly Notice[];
  /** Everything that was not used, and why. */
  readonly leftOut: readonly LeftOut[];
}

/**
 * The main job: turns a capture, a folder of locked-off passes, into one plate. Grades the frames, registers those of
 * each pass to each other, places the passes by their overlaps, solves for light, sky and vignetting, stacks every pass
 * on the plate's grid and joins the strips. The capture is only read. An incomplete plate is written, with its gaps
 * transparent and named; nothing is invented.
 *
 * @param captureDir folder of clips and of folders of stills, each a pass, or a folder of stills; with or without a
 *   `capture.yaml`
 * @throws InputError MAP_UNREADABLE, CAPTURE_UNREADABLE, SETTINGS_INVALID, TABLE_UNREADABLE, CAPTURE_EMPTY, PASS_UNUSABLE, CAPTURE_CHANGED
 * @throws OutputError OUTPUT_EXISTS without `force`, OUTPUT_INSIDE_CAPTURE, OUTPUT_UNWRITABLE
 * @throws UsageError when the settings' keywords are too many, and for `northUp` without a site or a map
 * @throws InterruptedError once the signal has fired; no output is left behind, and the same call resumes
 * @throws ResourceError OUT_OF_SPACE, OUT_OF_MEMORY
 */
export async function stitch(captureDir: string, options: StitchOptions): Promise<StitchResult> {
  if (options.outDir === '' || options.workDir === '') throw new UsageError('the name of a folder is empty; say where');
  const outDir = resolve(options.outDir);
  const workDir = resolve(options.workDir ?? join(outDir, 'work'));
  const {
    signal,
    onProgress,
    workers,
    memoryBytes,
    maps = false,
    xmp = false,
    otio = false,
    curve,
    follow,
    force = false,
    albedoPath,
    map,
    northUp: upright = false,
  } = options;
  if (memoryBytes !== undefined && !(memoryBytes >= LEAST_MEMORY_BYTES)) {
    throw new UsageError(`"memoryBytes" is ${memoryBytes}; expected ${LEAST_MEMORY_BYTES} (256 MiB) or more`);
  }
  const settings = settleMasters(options.masters);
  const more = masterPaths(outDir, settings);
  const otioPath = join(outDir, 'plate.otio');
  const xmpPath = xmp ? join(outDir, 'plate.xmp') : null;
  const capture = await scanCapture(captureDir, { curve, follow, signal });
  await refuseInside(capture.root, [outDir, workDir]);
  if (upright && albedoPath === undefined && !siteOfSettings(capture.settings.site ?? {})) {
    throw new UsageError(
      'north cannot be told: give the site in capture.yaml (and a clock that is right), or a map of the Moon',
    );
  }
  const albedo = await askMap(albedoPath, signal);
  const paths = await prepareOutput(outDir, force, [
    ...more,
    ...(otio ? [otioPath] : []),
    ...(xmpPath === null ? [] : [xmpPath]),
    ...Object.values(wherePaths(outDir)),
    ...(maps ? Object.values(mapPaths(outDir)) : []),
  ]);
  requireKeywords(capture.settings);
  return runJob({ workDir, workers, memoryBytes, signal, onProgress }, async (context) => {
    const laid = await makePlate(context, capture);
    const located = { made: laid, where: await whereStage(context, capture, laid, albedo) };
    const { made, where } = upright ? await northUp(context, capture, located, albedo) : located;
    const names = made.placed.map((p) => p.tracked.graded.pass.name);
    const { blended } = made;
    const ownerOf = (x: number, y: number): number => ownerAt(blended, x, y);
    const gaps = [...findGaps(plateOnDisk(blended.raster), ownerOf, names), ...unplacedGaps(made)];
    await refuseChanged(capture, signal);
    const writing = { force, ...(signal && { signal }), onProgress: context.onProgress };
    const { synthetic = false } = capture.settings;
    const story = { plate: blended, complete: gaps.length === 0, where, passes: describePasses(made), synthetic };
    const packet = masterXmp(capture.settings, story);
    // A folder with a sidecar is complete: until all is replaced, there is none.
    if (force) await rm(paths.sidecar, { force: true });
    const { files, sidecar, placeFiles } = await allOrNone(async () => {
      const known = { xmp: packet, disc: where.known ? limbOf(where.disc) : null };
      const pictures = await writePictures(paths, plateOnDisk(blended.raster), settings, known, writing);
      const mapFiles = maps ? await writeMaps(mapPaths(outDir), mapPlate(made), writing) : [];
      const placeFiles = await writeWhere(wherePaths(outDir), where, plateOnDisk(blended.raster), map ?? null, writing);
      const timeline = otio ? [await writeTimeline(otioPath, capture, paths.plate, force)] : [];
      const words = { settings: capture.settings, told: story, plate: pictures.plate };
      const metadata = xmpPath === null ? [] : [await writePlateXmp(xmpPath, words, force)];
      const others = [...mapFiles, ...placeFiles, ...timeline, ...metadata];
      const files = { ...pictures, files: [...pictures.files, ...others] };
      const sidecar = await buildSidecar({ capture, made, where, gaps, files, curve: curve ?? 'auto' }, signal);
      const text = sidecarText(paths.sidecar, sidecar);
      const features = where.known ? notableFeatures(where) : undefined;
      await tellStage(context.onProgress, { stage: 'report', total: 1, unit: 'steps' }, () =>
        writeReport(paths.report, reportInput(made, sidecar, text, features), { force, signal }),
      );
      await writeSidecar(paths.sidecar, text, force);
      return { files, sidecar, placeFiles };
    });
    const bytes = await folderBytes(workDir);
    const kept = options.workDir !== undefined;
    if (!kept) await clearWorkFolder(workDir);
    return {
      mapPaths: maps ? mapPaths(outDir) : null,
      masterPaths: more.filter((path) => files.files.some(({ file }) => join(outDir, file) === path)),
      crops: sidecar.crops,
      xmpPath,
      otioPath: otio ? otioPath : null,
      scratch: { folder: workDir, bytes, kept },
      platePath: paths.plate,
      sidecarPath: paths.sidecar,
      previewPath: paths.preview,
      reportPath: paths.report,
      widthPx: blended.widthPx,
      heightPx: blended.heightPx,
      complete: gaps.length === 0,
      where,
      wherePaths: placeFiles.map(({ file }) => join(outDir, file)),
      gaps,
      passes: sidecar.passes.map((p, i) => ({
        name: p.name,
        placed: p.placed,
        placedBy: p.placedBy,
        used: p.frames.length,
        of: made.tracked[i]!.graded.pass.frames.length,
      })),
      overlaps: sidecar.overlaps,
      notices: sidecar.notices,
      leftOut: sidecar.leftOut,
    };
  });
}

/** The least memory that a run can be held to. */
const LEAST_MEMORY_BYTES: number = 256 * 2 ** 20;

function unplacedGaps(made: MadePlate): Gap[] {
  return made.tracked.flatMap((t, i) =>
    made.placement.poses[i]
      ? []
      : [{ where: `all that only the pass "${t.graded.pass.name}" shows: it could not be placed`, box: null }],
  );
}

async function refuseInside(root: string, folders: readonly string[]): Promise<void> {
  const real = await realpath(root);
  for (const folder of folders) {
    const way = relative(real, await realpathOfExisting(folder));
    if (way === '' || (way !== '..' && !way.startsWith(`..${sep}`) && resolve(way) !== way)) {
      throw new OutputError(
        'OUTPUT_INSIDE_CAPTURE',
        `${folder} lies inside the capture ${root}, which is only read. Choose a folder outside it.`,
      );
    }
  }
}

/** The real path of a folder that may not exist yet: that of its nearest existing ancestor, with the rest put on. */
async function realpathOfExisting(path: string): Promise<string> {
  try {
    return await realpath(path);
  } catch {
    const parent = resolve(path, '..');
    return parent === path ? path : join(await realpathOfExisting(parent), path.slice(parent.length));
  }
}
