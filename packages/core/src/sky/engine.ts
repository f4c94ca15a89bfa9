import { createRequire } from 'node:module';

/**
 * The package `astronomy-engine`: positions of the Moon (the Improved Lunar Ephemeris as in Montenbruck & Pfleger), of
 * the Sun and the planets (VSOP87, shortened), precession, nutation and sidereal time, axes of rotation after the IAU
 * working group of 2009. Its CommonJS build is asked for: the other one has no mark of a module that Node 20.10 knows.
 */
export const engine: typeof import('astronomy-engine') = createRequire(import.meta.url)('astronomy-engine');
