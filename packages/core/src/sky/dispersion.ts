import { refractionArcmin } from './refraction.js';
import { type Air, requireAir, requireRange } from './types.js';

/** Wavelengths that stand for the channels of a colour sensor, nm. */
export const CHANNEL_NM: { readonly red: number; readonly green: number; readonly blue: number } = {
  red: 610,
  green: 540,
  blue: 460,
};

/**
 * Refractive index of dry air minus one, at a wavelength in nm (300 to 1700). Ciddor 1996, doi 10.1364/AO.35.001566,
 * with 450 ppm of carbon dioxide; moisture, which adds about 1 % to the dispersion, is left out.
 */
export function airIndexMinusOne(wavelengthNm: number, air: Air): number {
  requireRange('wavelengthNm', wavelengthNm, 300, 1700);
  requireAir(air);
  const s2 = (1000 / wavelengthNm) ** 2;
  const standard = (5_792_105 / (238.0185 - s2) + 167_917 / (57.362 - s2)) * 1e-8;
  return (standard * density(air)) / density(STANDARD);
}

/**
 * How much higher the light of the first wavelength (nm) appears than that of the second, arcseconds along the vertical:
 * positive when the first is the bluer one. Refraction at a true altitude is proportional to the index minus one
 * (Filippenko 1982, doi 10.1086/131052); the refraction itself is that of {@link refractionArcmin}, for yellow light.
 */
export function dispersionArcsec(altitudeDeg: number, air: Air, firstNm: number, secondNm: number): number {
  const difference = airIndexMinusOne(firstNm, air) - airIndexMinusOne(secondNm, air);
  return (60 * refractionArcmin(altitudeDeg, air) * difference) / airIndexMinusOne(YELLOW_NM, air);
}

const YELLOW_NM = 574;
const STANDARD: Air = { pressureHpa: 1013.25, temperatureC: 15 };

/** Density of dry air up to a constant, with its compressibility (Ciddor 1996, appendix A). */
function density({ pressureHpa, temperatureC: t }: Air): number {
  const kelvin = t + 273.15;
  const ratio = (100 * pressureHpa) / kelvin;
  const compressibility = 1 - ratio * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t) + ratio * ratio * 1.83e-11;
  return ratio / compressibility;
}
