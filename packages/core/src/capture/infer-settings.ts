import { quantile } from '../compute/quantile.js';
import { type DeviceFacts, readDeviceFacts } from './device-facts.js';
import type { Capture, Pass, RecordedExposure } from './pass.js';
import { SETTINGS_FORMATS } from './settings-formats.js';
import type { CaptureSettings, OpticsSettings, PassSettings, SensorSettings, SiteSettings } from './settings-types.js';
import { readStillHeader } from './still-header.js';

/**
 * What `capture.yaml` could say of a capture, as far as its files tell: the devices and the place that the first still
 * records, sizes, passes in their order with their exposure, the guide, and where calibration frames are. A folder of
 * everything is not listed, since what is listed is never parted. Of a capture without a pass nothing but the guide is told.
 */
export async function inferSettings({ passes, guide, calibration }: Capture): Promise<CaptureSettings> {
  const first = passes.find(({ kind }) => kind === 'stills');
  const still = first?.frames[0]?.path;
  const facts = still === undefined ? {} : await readDeviceFacts(still);
  const listed = passes.flatMap((pass) => (pass.kind === 'stills' && pass.mixed ? [] : [describePass(pass)]));
  const places = calibration.map(({ kind, pass }) => [kind, placeOf(pass)] as const);
  return filled<CaptureSettings>({
    site: siteOf(facts),
    optics: opticsOf(facts),
    sensor: filled<SensorSettings>({
      name: facts.sensorName,
      ...(passes[0] && (await sizeOf(passes[0]))),
      pitchUm: facts.pitchUm,
    }),
    passes: [...listed, ...(guide ? [{ folder: folderOf(guide.item), role: 'guide' as const }] : [])].filter(
      canBeNamed,
    ),
    calibration: places.length > 0 ? Object.fromEntries(places) : undefined,
  });
}

function describePass(pass: Pass): PassSettings {
  const place = pass.kind === 'clip' ? { clip: placeOf(pass) } : { folder: placeOf(pass) };
  const known = pass.frames.map(({ recorded }) => (recorded as RecordedExposure | undefined)?.exposureS);
  const exposures = known.filter((seconds) => seconds !== undefined);
  return { ...place, ...(exposures.length > 0 && { exposureS: quantile(exposures, 0.5) }) };
}

/** The clip, or the folder of the stills, as settings name it. */
function placeOf({ kind, frames }: Pass): string {
  const { item } = frames[0]!;
  return kind === 'clip' ? item.slice(0, item.lastIndexOf('#')) : folderOf(item);
}

function folderOf(item: string): string {
  return item.includes('/') ? item.slice(0, item.lastIndexOf('/')) : '.';
}

/** Size as recorded, before pictures are turned upright. */
async function sizeOf(pass: Pass): Promise<SensorSettings> {
  if (pass.kind === 'clip') return { widthPx: pass.clip.widthPx, heightPx: pass.clip.heightPx };
  const { storedWidthPx, storedHeightPx } = await readStillHeader(pass.frames[0]!.path);
  return { widthPx: storedWidthPx, heightPx: storedHeightPx };
}

function siteOf({ latitudeDeg, longitudeDeg, heightM }: DeviceFacts): SiteSettings | undefined {
  return filled<SiteSettings>({ latitudeDeg, longitudeDeg, heightM });
}

function opticsOf({ opticsName, focalLengthMm, apertureMm }: DeviceFacts): OpticsSettings | undefined {
  return filled<OpticsSettings>({ name: opticsName, focalLengthMm, apertureMm });
}

/** Fields that have a value. */
function filled<T extends object>(fields: { readonly [K in keyof T]: T[K] | undefined }): T {
  return Object.fromEntries(Object.entries(fields).filter(([, value]) => !isEmpty(value))) as T;
}

function isEmpty(value: unknown): boolean {
  return value === undefined || (typeof value === 'object' && value !== null && Object.keys(value).length === 0);
}

/** Not every name can be written as a path that means the same on all systems. */
function canBeNamed({ folder, clip }: PassSettings): boolean {
  const place = folder ?? clip!;
  const read = SETTINGS_FORMATS['path-inside']!(place);
  return 'value' in read && read.value === place;
}
