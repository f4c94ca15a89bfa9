/** Radians of one degree. */
export const DEG: number = Math.PI / 180;

/** Arcseconds of one radian. */
export const ARCSEC: number = (180 * 3600) / Math.PI;

/** A vector; which frame and unit it has is said where it is made. */
export type Vec3 = readonly [number, number, number];

export function dot(a: Vec3, b: Vec3): number {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

export function cross(a: Vec3, b: Vec3): Vec3 {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** a + factor · b. */
export function addScaled(a: Vec3, b: Vec3, factor: number): Vec3 {
  return [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]];
}

export function scaled(a: Vec3, factor: number): Vec3 {
  return [a[0] * factor, a[1] * factor, a[2] * factor];
}

export function lengthOf(a: Vec3): number {
  return Math.hypot(a[0], a[1], a[2]);
}

export function unit(a: Vec3): Vec3 {
  return scaled(a, 1 / lengthOf(a));
}

/** Angle between two directions, degrees; exact for small and for straight angles, too. */
export function angleDeg(a: Vec3, b: Vec3): number {
  return Math.atan2(lengthOf(cross(a, b)), dot(a, b)) / DEG;
}

/** The same angle in 0 <= a < 360. */
export function positiveDeg(angle: number): number {
  const turned = angle % 360;
  return turned < 0 ? (turned + 360) % 360 : turned + 0;
}

/** The same angle in -180 < a <= 180. */
export function signedDeg(angle: number): number {
  const turned = positiveDeg(angle);
  return turned > 180 ? turned - 360 : turned;
}

/** Longitude and latitude of a vector, degrees; longitude in -180 to 180. */
export function toSphere([x, y, z]: Vec3): { longitudeDeg: number; latitudeDeg: number } {
  return { longitudeDeg: Math.atan2(y, x) / DEG, latitudeDeg: Math.atan2(z, Math.hypot(x, y)) / DEG };
}

/** Unit vector of longitude and latitude in degrees. */
export function fromSphere(longitudeDeg: number, latitudeDeg: number): Vec3 {
  const level = Math.cos(latitudeDeg * DEG);
  return [level * Math.cos(longitudeDeg * DEG), level * Math.sin(longitudeDeg * DEG), Math.sin(latitudeDeg * DEG)];
}
