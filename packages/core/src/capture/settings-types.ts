/** What `capture.yaml` says of a night. Every field is optional; `schema/capture.schema.json` says what each holds. */
export interface CaptureSettings {
  readonly title?: string;
  readonly notes?: string;
  readonly site?: SiteSettings;
  readonly optics?: OpticsSettings;
  readonly sensor?: SensorSettings;
  readonly body?: BodyName;
  /** Whether a program drew the frames, as `rehearse` does. Default false. */
  readonly synthetic?: boolean;
  /** For all passes; what a pass says for itself comes first. */
  readonly encoding?: EncodingSettings;
  /** In the order the passes are to have. */
  readonly passes?: readonly PassSettings[];
  /** Whether passes that are not listed stay out. */
  readonly onlyListed?: boolean;
  /** How one folder of everything is parted into passes; `false`: not at all. */
  readonly split?: SplitSettings | false;
  readonly calibration?: CalibrationSettings;
  readonly rights?: RightsSettings;
  readonly listing?: ListingSettings;
}

/** The bodies that can drift through the frame. */
export type BodyName = 'moon' | 'sun' | 'mercury' | 'venus' | 'mars' | 'jupiter' | 'saturn' | 'uranus' | 'neptune';

/** Where the camera stood, what its clock showed, and the air. Latitude and longitude come together or not at all. */
export interface SiteSettings {
  /** North positive. */
  readonly latitudeDeg?: number;
  /** East positive, -180 to 360. */
  readonly longitudeDeg?: number;
  /** Above sea level. */
  readonly heightM?: number;
  /** IANA name, or an offset such as `+02:00`: the zone of the camera's clock, where its stamps do not say. */
  readonly timeZone?: string;
  /** To add to the camera's clock. */
  readonly clockOffsetS?: number;
  /** At the site, not reduced to sea level. */
  readonly pressureHPa?: number;
  readonly temperatureC?: number;
}

/** What the light went through. */
export interface OpticsSettings {
  readonly name?: string;
  /** Without the reducer. */
  readonly focalLengthMm?: number;
  readonly apertureMm?: number;
  /** Factor on the focal length. */
  readonly reducer?: number;
}

/** What recorded the light. Sizes and pitch are those of recorded pixels (space 1). */
export interface SensorSettings {
  readonly name?: string;
  readonly widthPx?: number;
  readonly heightPx?: number;
  readonly pitchUm?: number;
  readonly bitDepth?: number;
  /** From the reading of the first row to that of the last; 0 for a global shutter. */
  readonly readoutMs?: number;
}

/** How recorded values stand for light. `auto`: as the file says. `table` and `tableGives` come together. */
export interface EncodingSettings {
  readonly curve?: 'auto' | 'srgb' | 'linear' | 'bt709' | 'pq' | 'hlg';
  readonly range?: 'auto' | 'full' | 'video';
  readonly matrix?: 'auto' | 'bt601' | 'bt709' | 'bt2020' | 'rgb';
  readonly primaries?: 'auto' | 'bt709' | 'p3' | 'bt2020';
  /** Path of a .cube file relative to the capture, with forward slashes. */
  readonly table?: string;
  readonly tableGives?: 'linear' | 'bt709' | 'srgb';
}

/** One pass: exactly one of `folder` and `clip` is given. */
export interface PassSettings {
  /** Path relative to the capture, with forward slashes; `.` is the capture itself. */
  readonly folder?: string;
  readonly clip?: string;
  readonly name?: string;
  readonly role?: 'pass' | 'guide' | 'ignore';
  readonly encoding?: EncodingSettings;
  /** When the first frame began, ISO 8601; without a zone it is in that of the site. */
  readonly start?: string;
  readonly exposureS?: number;
  /** File names, or indices from 0 (`3`, `'3'`), or ranges of them with both ends included (`'0-12'`). */
  readonly ignoreFrames?: readonly (string | number)[];
}

/** Where one folder of everything is parted. */
export interface SplitSettings {
  /** Without it the gap follows from the rhythm of the frames. */
  readonly gapS?: number;
}

/** Folders or clips relative to the capture, with forward slashes; `false`: none, even where there are some. */
export interface CalibrationSettings {
  readonly dark?: string | false;
  readonly flat?: string | false;
  readonly bias?: string | false;
}

/** Whose the pictures are. */
export interface RightsSettings {
  readonly creator?: string;
  readonly copyrightNotice?: string;
  /** SPDX identifier, or the terms in words. */
  readonly licence?: string;
  readonly creditLine?: string;
  readonly sourceUrl?: string;
  readonly contactUrl?: string;
  readonly licensorName?: string;
  readonly statementUrl?: string;
}

/** How the plate is described where it is offered. */
export interface ListingSettings {
  readonly description?: string;
  readonly altText?: string;
  readonly keywords?: readonly string[];
}
