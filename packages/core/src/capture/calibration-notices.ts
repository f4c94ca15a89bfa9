import { quantile } from '../compute/quantile.js';
import { type CalibrationSet, type Notice, type Pass, type RecordedExposure, sameShape } from './pass.js';

/** A dark of another exposure than this share off holds another current. */
const EXPOSURE_TOLERANCE = 0.1;
/** The dark current doubles in some 6 degrees. */
const TEMPERATURE_TOLERANCE_C = 5;

/** Says where calibration frames were taken otherwise than the frames of a pass; they are used all the same. */
export function calibrationNotices(sets: readonly CalibrationSet[], passes: readonly Pass[]): Notice[] {
  return sets.flatMap((set) =>
    passes
      .filter((pass) => sameShape(pass, set.pass))
      .flatMap((pass) => [...exposure(set, pass), ...temperature(set, pass)]),
  );
}

function exposure({ kind, pass: frames }: CalibrationSet, pass: Pass): Notice[] {
  const [own, other] = [middle(frames, 'exposureS'), middle(pass, 'exposureS')];
  if (kind !== 'dark' || own === undefined || other === undefined) return [];
  if (Math.abs(own / other - 1) <= EXPOSURE_TOLERANCE) return [];
  const detail = `Its frames were exposed for ${seconds(own)}, those of the pass "${pass.name}" for ${seconds(other)}.`;
  return [{ item: itemOf(frames, kind), reason: 'calibration-exposure', detail }];
}

function temperature({ kind, pass: frames }: CalibrationSet, pass: Pass): Notice[] {
  const [own, other] = [middle(frames, 'sensorTemperatureC'), middle(pass, 'sensorTemperatureC')];
  if (kind === 'flat' || own === undefined || other === undefined) return [];
  if (Math.abs(own - other) <= TEMPERATURE_TOLERANCE_C) return [];
  const detail = `Its sensor was at ${own.toFixed(1)} °C, that of the pass "${pass.name}" at ${other.toFixed(1)} °C.`;
  return [{ item: itemOf(frames, kind), reason: 'calibration-temperature', detail }];
}

function middle({ frames }: Pass, what: 'exposureS' | 'sensorTemperatureC'): number | undefined {
  const known = frames.map(({ recorded }) => (recorded as RecordedExposure | undefined)?.[what]);
  const values = known.filter((value) => value !== undefined);
  return values.length === 0 ? undefined : quantile(values, 0.5);
}

function itemOf({ frames }: Pass, kind: string): string {
  const item = frames[0]?.item ?? kind;
  return item.includes('/') ? item.slice(0, item.lastIndexOf('/')) : item;
}

function seconds(value: number): string {
  return value < 1 ? `1/${Math.round(1 / value)} s` : `${value.toFixed(1)} s`;
}
