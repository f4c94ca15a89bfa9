import { DEG } from './angles.js';
import { requireRange } from './types.js';

/** Air mass at an apparent altitude in degrees, 0 to 90; 1 at the zenith. Kasten & Young 1989, doi 10.1364/AO.28.004735. */
export function airmass(apparentAltitudeDeg: number): number {
  requireRange('apparentAltitudeDeg', apparentAltitudeDeg, 0, 90);
  const h = apparentAltitudeDeg;
  return 1 / (Math.sin(h * DEG) + 0.50572 * (h + 6.07995) ** -1.6364);
}

/**
 * Extinction in magnitudes per air mass at a wavelength (nm, 350 to 1000) and a height of the site in metres, in clear
 * air: scattering by molecules and haze after Hayes & Latham 1975, doi 10.1086/153548 (scale heights 8 and 1.5 km), and
 * 3 mm of ozone, its band taken for a Gaussian at 590 nm. Haze differs from night to night by as much again.
 */
export function extinctionPerAirmass(wavelengthNm: number, heightM: number): number {
  requireRange('wavelengthNm', wavelengthNm, 350, 1000);
  requireRange('heightM', heightM, -500, 11_000);
  const um = wavelengthNm / 1000;
  const s2 = um ** -2;
  const molecules = 9.4977e-3 * s2 * s2 * (0.23465 + 107.6 / (146 - s2) + 0.93161 / (41 - s2)) ** 2;
  const haze = 0.05 * um ** -1.3;
  const ozone = 0.04 * Math.exp(-0.5 * ((um - 0.59) / 0.06) ** 2);
  return molecules * Math.exp(-heightM / 7996) + haze * Math.exp(-heightM / 1500) + ozone;
}

/** Share of the light that comes through at an apparent altitude: 10^(-0.4 k X). */
export function transmission(apparentAltitudeDeg: number, wavelengthNm: number, heightM: number): number {
  return 10 ** (-0.4 * extinctionPerAirmass(wavelengthNm, heightM) * airmass(apparentAltitudeDeg));
}
