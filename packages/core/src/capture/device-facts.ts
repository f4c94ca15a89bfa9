import { open } from 'node:fs/promises';
import { bytesOf } from './byte-source.js';
import { type ExifValues, GPS_IFD, readExifValues } from './exif-values.js';
import { type FitsCards, numberOf, readCards } from './fits-cards.js';
import { pictures } from './picture-library.js';
import { sniffFile } from './sniff.js';
import { bytesInMemory } from './tiff-tags.js';

/** What a still says of the devices that took it, and of where they stood; each part `undefined` when it does not. */
export interface DeviceFacts {
  readonly sensorName?: string | undefined;
  readonly pitchUm?: number | undefined;
  readonly opticsName?: string | undefined;
  readonly focalLengthMm?: number | undefined;
  readonly apertureMm?: number | undefined;
  /** North and east positive, metres above sea level. */
  readonly latitudeDeg?: number | undefined;
  readonly longitudeDeg?: number | undefined;
  readonly heightM?: number | undefined;
}

/**
 * Reads {@link DeviceFacts} from Exif 3.0 (CIPA DC-008) or from the keywords of FITS that are in common use. A camera that does
 * not know its lens records a focal length all the same: without a name of the lens it counts for nothing. A file whose
 * records cannot be read says nothing.
 */
export async function readDeviceFacts(path: string): Promise<DeviceFacts> {
  const file = await open(path, 'r');
  try {
    const { format } = await sniffFile(file, path);
    const { size } = await file.stat();
    if (format === 'fits') return fromFits((await readCards(bytesOf(file, size), 0)).cards);
    if (format === 'tiff' || format === 'dng') return fromExif(await readExifValues(file, size, WANTED));
    if (format !== 'jpeg' && format !== 'png') return {};
    const { exif } = await pictures(path, { limitInputPixels: false }).metadata();
    if (!exif) return {};
    const block = exif.subarray(exif.toString('latin1', 0, 6) === 'Exif\0\0' ? 6 : 0);
    return fromExif(await readExifValues(bytesInMemory(block), block.length, WANTED));
  } catch {
    return {};
  } finally {
    await file.close();
  }
}

const TAG = {
  Make: 271,
  Model: 272,
  FNumber: 33437,
  FocalLength: 37386,
  FocalPlaneXResolution: 41486,
  FocalPlaneResolutionUnit: 41488,
  LensModel: 42036,
} as const;
const WANTED: ReadonlySet<number> = new Set([...Object.values(TAG), GPS_IFD]);
const GPS = { LatitudeRef: 1, Latitude: 2, LongitudeRef: 3, Longitude: 4, AltitudeRef: 5, Altitude: 6 } as const;
/** Micrometres in the unit of resolutions: inch, centimetre. */
const UNIT_UM: Readonly<Record<number, number>> = { 2: 25_400, 3: 10_000 };

function fromExif({ text, number, gpsText, gpsNumbers }: ExifValues): DeviceFacts {
  const make = words(text(TAG.Make));
  const model = words(text(TAG.Model));
  const opticsName = words(text(TAG.LensModel));
  const focalLengthMm = opticsName === undefined ? undefined : within(number(TAG.FocalLength), 1, 100_000);
  const apertureMm = focalLengthMm && within(focalLengthMm / (number(TAG.FNumber) ?? 0), 1, 12_000);
  const pitch = (UNIT_UM[number(TAG.FocalPlaneResolutionUnit) ?? 2] ?? 0) / (number(TAG.FocalPlaneXResolution) ?? 0);
  const latitudeDeg = within(degrees(gpsNumbers(GPS.Latitude), gpsText(GPS.LatitudeRef) === 'S'), -90, 90);
  const longitudeDeg = within(degrees(gpsNumbers(GPS.Longitude), gpsText(GPS.LongitudeRef) === 'W'), -180, 180);
  const height = gpsNumbers(GPS.Altitude)[0];
  const below = gpsNumbers(GPS.AltitudeRef)[0] === 1;
  return {
    sensorName: make && model && !model.startsWith(make) ? `${make} ${model}` : model,
    pitchUm: round(within(pitch, 0.3, 100), 3),
    opticsName,
    focalLengthMm: round(focalLengthMm, 1),
    apertureMm: round(apertureMm, 1),
    ...placeOf(latitudeDeg, longitudeDeg, height === undefined ? undefined : below ? -height : height),
  };
}

function fromFits(cards: FitsCards): DeviceFacts {
  const text = (keyword: string): string | undefined => {
    const value = cards.get(keyword);
    return typeof value === 'string' ? words(value) : undefined;
  };
  const number = (...keywords: string[]): number | undefined =>
    keywords.map((keyword) => numberOf(cards, keyword)).find((value) => value !== undefined);
  const angle = (keyword: string): number | undefined => numberOf(cards, keyword) ?? sexagesimal(text(keyword));
  return {
    sensorName: text('INSTRUME'),
    pitchUm: round(within(number('XPIXSZ', 'PIXSIZE1'), 0.3, 100), 3),
    opticsName: text('TELESCOP'),
    focalLengthMm: round(within(number('FOCALLEN'), 1, 100_000), 1),
    apertureMm: round(within(number('APTDIA'), 1, 12_000), 1),
    ...placeOf(within(angle('SITELAT'), -90, 90), within(angle('SITELONG'), -180, 360), number('SITEELEV')),
  };
}

/** Latitude and longitude come together or not at all. */
function placeOf(latitudeDeg: number | undefined, longitudeDeg: number | undefined, heightM: number | undefined) {
  if (latitudeDeg === undefined || longitudeDeg === undefined) return {};
  return {
    latitudeDeg: round(latitudeDeg, 5),
    longitudeDeg: round(longitudeDeg, 5),
    heightM: round(within(heightM, -500, 9000), 0),
  };
}

/** Degrees, minutes, seconds of which the latter may be missing. */
function degrees([whole, minutes = 0, seconds = 0]: readonly number[], isNegative: boolean): number | undefined {
  if (whole === undefined) return undefined;
  const size = whole + minutes / 60 + seconds / 3600;
  return isNegative ? -size : size;
}

/** "+46 37 12.5", or with colons. */
function sexagesimal(text: string | undefined): number | undefined {
  const found = /^([+-]?)(\d{1,3})[ :](\d{1,2})(?:[ :](\d{1,2}(?:\.\d*)?))?$/.exec(text ?? '');
  return found
    ? degrees(
        found.slice(2).map((part) => Number(part ?? 0)),
        found[1] === '-',
      )
    : undefined;
}

function words(text: string | undefined): string | undefined {
  const plain = text
    ?.replace(/\p{Cc}/gu, ' ')
    .trim()
    .slice(0, 200);
  return plain || undefined;
}

function within(value: number | undefined, least: number, most: number): number | undefined {
  return value !== undefined && value >= least && value <= most ? value : undefined;
}

function round(value: number | undefined, decimals: number): number | undefined {
  return value === undefined ? undefined : Number(value.toFixed(decimals));
}
