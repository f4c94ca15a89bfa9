import { type Air, type Site, SKY_BODIES, type SkyBody, standardAir } from './types.js';

/** What settings may say of a place and its air. */
export interface PlaceSettings {
  readonly latitudeDeg?: number;
  readonly longitudeDeg?: number;
  readonly heightM?: number;
  readonly pressureHPa?: number;
  readonly temperatureC?: number;
}

/** Where the telescope stands, as settings say: at the sea's level unless they know better; null without coordinates. */
export function siteOfSettings({ latitudeDeg, longitudeDeg, heightM = 0 }: PlaceSettings): Site | null {
  return latitudeDeg === undefined || longitudeDeg === undefined ? null : { latitudeDeg, longitudeDeg, heightM };
}

/** The air there: what settings say, the standard's for the rest. */
export function airOfSettings({ heightM = 0, pressureHPa, temperatureC }: PlaceSettings): Air {
  const standard = standardAir(heightM);
  return { pressureHpa: pressureHPa ?? standard.pressureHpa, temperatureC: temperatureC ?? standard.temperatureC };
}

/** The body that settings call by its name in small letters; undefined for another word. */
export function skyBodyOf(name: string): SkyBody | undefined {
  return SKY_BODIES.find((body) => body.toLowerCase() === name);
}
