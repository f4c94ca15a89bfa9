import type { PlanMoment } from './plan-clock.js';
import type { PassAim, Plan, PlannedPass, PlannedWindow, ShotList } from './plan-types.js';

const COLUMNS: readonly string[] = [
  'pass',
  'start',
  'UTC',
  'drift',
  'frames',
  'aim alt, az',
  'across the drift',
  'px/s',
  'longest',
  'turn',
  'flatter by',
  'altitude',
  'air',
  'darker R G B',
  'sky in 5 min',
  'data',
];

/**
 * The passes of a shot list as a table: its head, then a row of cells for each pass. Where the site's zone is UTC, times stand
 * there once.
 */
export function passTable({ timeZone }: Plan, { passes }: ShotList): readonly (readonly string[])[] {
  const rows = [COLUMNS, ...passes.map(cellsOf)];
  return isUtc(timeZone) ? rows.map((cells) => cells.filter((_, column) => column !== START)) : rows;
}

const START = 1;

function cellsOf(pass: PlannedPass): string[] {
  const { aim, extinctionStops: dim, twilight } = pass;
  return [
    String(pass.number),
    clock(pass.start),
    pass.start.utc.slice(11, 19),
    `${pass.driftS} s`,
    String(pass.frames),
    `${aim.altitudeDeg.toFixed(2)}°, ${aim.azimuthDeg.toFixed(2)}°`,
    acrossText(aim),
    pass.speedPxPerS.toFixed(1),
    shutterOf(pass.longestExposureS),
    `${signed(pass.rotationDeg, 2)}°`,
    `${signed(100 * pass.flatteningChange, 3)} %`,
    `${pass.altitudeDeg.toFixed(1)}°`,
    pass.airmass.toFixed(2),
    [dim.red, dim.green, dim.blue].map((stops) => signed(stops, 2)).join(' '),
    twilight.stopsPer5Min === null ? twilight.kind : `${signed(twilight.stopsPer5Min, 2)} stops`,
    sizeOf(pass.dataBytes),
  ];
}

/** Where a pass is aimed across the drift: `+480" (+0.26 disc)`. */
export function acrossText({ acrossArcsec, acrossDiscs }: PassAim): string {
  return `${signed(acrossArcsec, 0)}" (${signed(acrossDiscs, 2)} disc)`;
}

/** What holds for all passes, in sentences. */
export function shotNotes(plan: Plan, shots: ShotList): string[] {
  const { camera, disc, margins, exposure, passes } = shots;
  const [first] = passes;
  const size = `${round(2 * disc.radiusPx)} px across in frames of ${camera.widthPx} x ${camera.heightPx} px, ${camera.scaleArcsecPerPx.toFixed(3)}" per px`;
  const notes = [
    `The disc is ${size}.`,
    ...sizeNotes(shots),
    ...phaseNote(plan, shots),
    `Camera: the frame's upper edge at position angle ${first!.aim.frameAngleDeg.toFixed(1)}° in the first pass, ${signed(camera.rollFromVerticalDeg, 1)}° from the vertical (anticlockwise), and so for all.`,
    `Start each pass with the leading limb ${round(first!.leadPx)} px outside the ${first!.entersAt} edge; let it drift until the disc has left the frame.`,
    'Aims across the drift: + lies to the left of the way that the disc drifts in the frame, where it is north of the disc if it drifts west.',
    `Room: aims may err by ${round(margins.pointingArcsec)}" each, ${round(margins.skyArcsec)}" of sky beyond the limbs, overlap ${round(100 * margins.overlap)} % at least; bend ${margins.bendArcsec.toFixed(1)}", turn and flattening between passes ${margins.shearArcsec.toFixed(1)}", within a pass ${margins.breathArcsec.toFixed(1)}".`,
    `Aim for the first pass from ${clockText(plan, shots.setUp)} on; in all ${lasting(shots.totalS)} from its start; ${round(shots.reaimS)} s between passes to aim anew.`,
  ];
  if (first!.shutter) {
    const { shearPxPerRow, verticalScale } = first!.shutter;
    notes.push(
      `The rolling shutter shears by ${signed(1000 * shearPxPerRow, 2)} px in 1000 rows and makes the disc ${signed(100 * (verticalScale - 1), 3)} % taller.`,
    );
  }
  if (exposure) {
    notes.push(
      `Exposure: ${shutterOf(exposure.exposureS)} at ISO ${exposure.iso} and f/${exposure.focalRatio.toFixed(1)}, or ISO ${round(exposure.isoAtLongestExposure)} at ${shutterOf(first!.longestExposureS)}; ${exposure.basis}.`,
    );
  }
  notes.push(`Taken for granted: ${plan.assumptions.join('; ')}.`);
  return notes;
}

/** A disc of fewer pixels across shows little. */
const SMALL_PX = 200;

/** What to mind when the disc is small: that it fits in the frame, that little of it will be seen. */
function sizeNotes({ camera, disc, margins }: ShotList): string[] {
  const acrossPx = 2 * disc.radiusPx;
  const sparePx = (Math.min(camera.widthPx, camera.heightPx) - acrossPx) / 2;
  const roomPx = (margins.skyArcsec + margins.pointingArcsec) / camera.scaleArcsecPerPx;
  const notes: string[] = [];
  if (sparePx >= roomPx) {
    notes.push(
      `The whole disc fits in the frame, with ${round(sparePx)} px to spare on every side: it does not have to drift through in parts; any frame that holds all of it shows all of it.`,
    );
  }
  if (acrossPx < SMALL_PX) {
    notes.push(
      `The disc is very small in the frame, ${round(acrossPx)} px across: little will be seen on it; a longer focal length or a smaller pitch shows more.`,
    );
  }
  return notes;
}

/**
 * How much is recorded and at which rate, and how little would do, in a sentence; `more` is said of the rate, such as how to
 * change it.
 */
export function dataNote({ camera, passes, totalBytes, leastFrames, leastBytes }: ShotList, more = ''): string {
  const frames = passes.reduce((sum, pass) => sum + pass.frames, 0);
  const rate = `at ${camera.framesPerSecond} frames/s${more === '' ? '' : ` (${more})`}`;
  return `Data: ${sizeOf(totalBytes)} in ${frames} frames ${rate}; the least that will do, ${leastFrames} frames spread evenly over ${passes.length === 1 ? 'the pass' : 'the passes'}, is ${sizeOf(leastBytes)}.`;
}

/** What each condition of a wish made of a span in which no window was found, and the nearest moment: a sentence each. */
export function missNotes({ missed }: Plan): string[] {
  if (!missed) return [];
  const lines = missed.conditions.map(({ wished, heldMin, best, figure }) => {
    const how = heldMin > 0 ? `for ${inAll(heldMin)}, at its best` : 'never; nearest';
    return `${capital(wished)}: ${how} ${figure}, ${momentText(best)}.`;
  });
  const { moment, figures } = missed.nearest;
  if (figures.length === 1) return lines;
  return [...lines, `Nearest to all at once: ${figures.join(', ')}, ${momentText(moment)}.`];
}

function capital(text: string): string {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}`;
}

/** "40 min", "12.5 h" */
function inAll(minutes: number): string {
  return minutes < 100 ? `${minutes} min` : `${round(minutes / 60)} h`;
}

/** A moment in the site's zone: "2031-03-04 21:15 +01:00", or in UTC. */
function momentText({ local }: PlanMoment): string {
  const offset = local.slice(19);
  return `${local.slice(0, 10)} ${local.slice(11, 16)} ${offset === '+00:00' ? 'UTC' : offset}`;
}

/** "Moon 62 % lit, 3 passes" for the window that is planned, "Moon 41 % lit, window 2" for the others. */
export function windowTitle(
  { body }: Plan,
  { rank, illuminatedFraction }: PlannedWindow,
  shots: ShotList | null,
): string {
  // Phases of the Moon are what nights are chosen by; those of a planet hardly change.
  const lit = body === 'Moon' ? ` ${Math.round(100 * illuminatedFraction!)} % lit` : '';
  return `${body}${lit}, ${shots ? passCount(shots.passes.length) : `window ${rank}`}`;
}

/** "1 pass", "3 passes" */
export function passCount(passes: number): string {
  return `${passes} ${passes === 1 ? 'pass' : 'passes'}`;
}

/** What a shot list is for: a name and what it says, for a table of two columns. */
export function rigFacts({ timeZone }: Plan, { camera, air }: ShotList): readonly (readonly [string, string])[] {
  const { focalLengthMm, apertureMm, focalRatio, widthPx, heightPx, pitchUm, bitDepth, readoutMs } = camera;
  const aperture = apertureMm === null ? '' : `, aperture ${round(apertureMm)} mm (f/${focalRatio!.toFixed(1)})`;
  const sides = [widthPx, heightPx].map((px) => ((px * pitchUm) / 1000).toFixed(1)).join(' x ');
  const readout = readoutMs === null ? '' : `, read out in ${round(readoutMs)} ms`;
  return [
    ['Optics', `focal length ${round(focalLengthMm)} mm${aperture}`],
    [
      'Sensor',
      `${widthPx} x ${heightPx} px of ${round(pitchUm)} µm (${sides} mm), ${bitDepth} bits${readout}, ${camera.framesPerSecond} frames/s`,
    ],
    ['Site', `times of ${timeZone}, air of ${round(air.pressureHpa)} hPa and ${round(air.temperatureC)} °C`],
  ];
}

/** "1/160 s", "2.5 s" */
function shutterOf(exposureS: number): string {
  return exposureS < 0.4 ? `1/${round(1 / exposureS)} s` : `${exposureS.toFixed(1)} s`;
}

/** "41 min", "95 s" */
export function lasting(seconds: number): string {
  return seconds < 120 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
}

/** Time of day in the site's zone, and in UTC where that is another: "20:19:43 (19:19:43 UTC)". */
export function clockText({ timeZone }: Plan, moment: PlanMoment): string {
  const utc = `${moment.utc.slice(11, 19)} UTC`;
  return isUtc(timeZone) ? utc : `${clock(moment)} (${utc})`;
}

function isUtc(timeZone: string): boolean {
  return /^(Z|UTC)$/i.test(timeZone);
}

/** Time of day in the site's zone. */
function clock({ local }: PlanMoment): string {
  return local.slice(11, 19);
}

/** A span in the site's zone and in UTC: "2031-03-04 21:15 to 22:40 +01:00 (20:15 to 21:40 UTC)". */
export function spanText(start: PlanMoment, end: PlanMoment): string {
  const utc = `${start.utc.slice(11, 16)} to ${untilText(start.utc, end.utc)} UTC`;
  const begins = `${start.local.slice(0, 10)} ${start.local.slice(11, 16)}`;
  if (start.local.endsWith('+00:00') && end.local.endsWith('+00:00')) {
    return `${begins} to ${untilText(start.utc, end.utc)} UTC`;
  }
  return `${begins} to ${untilText(start.local, end.local)} ${end.local.slice(19)} (${utc})`;
}

function untilText(start: string, end: string): string {
  const sameDay = start.slice(0, 10) === end.slice(0, 10);
  return sameDay ? end.slice(11, 16) : `${end.slice(0, 10)} ${end.slice(11, 16)}`;
}

function phaseNote({ body }: Plan, { disc }: ShotList): string[] {
  if (body !== 'Moon') return [];
  const east = signed(disc.librationLongitudeDeg!, 1);
  const north = signed(disc.librationLatitudeDeg!, 1);
  return [
    `${capital(disc.phaseName!)}, ${round(100 * disc.illuminatedFraction!)} % lit, colongitude ${disc.colongitudeDeg!.toFixed(1)}°, libration ${east}° in longitude, ${north}° in latitude.`,
  ];
}

function sizeOf(bytes: number): string {
  if (bytes < 1e8) return `${(bytes / 1e6).toFixed(1)} MB`;
  return bytes < 1e12 ? `${(bytes / 1e9).toFixed(1)} GB` : `${(bytes / 1e12).toFixed(2)} TB`;
}

/** With its sign; nothing is called minus nothing. */
function signed(value: number, digits: number): string {
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return `${value < 0 ? '-' : '+'}${text}`;
}

function round(value: number): string {
  return String(Math.abs(value) >= 10 ? Math.round(value) : Number(value.toFixed(1)));
}
