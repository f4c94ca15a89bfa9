import { hashOf } from '../job/hash.js';
import type { PlanMoment } from './plan-clock.js';
import type { Plan, PlannedPass, PlannedWindow, ShotList } from './plan-types.js';
import { acrossText, clockText, lasting, passCount, spanText, windowTitle } from './plan-words.js';

/**
 * A plan as an iCalendar file (RFC 5545), in UTC: an event for each window, from aiming for its first pass to the end of its
 * last one, and one for each pass of the chosen window, related to it. Events rather than alarms: calendars show them beside
 * each other, and drop the alarms of files that they import. A window that is too short for its passes has the event to
 * itself. UIDs follow from the body, the window's times and the number of the pass alone, so that the same window found again
 * replaces itself. The site's coordinates are not in it, nor are altitude and azimuth, which would tell them. Null without a
 * window: a calendar holds one event at least.
 */
export function planCalendar(plan: Plan): string | null {
  if (plan.windows.length === 0) return null;
  const lines = [
    'BEGIN:VCALENDAR',
    'VERSION:2.0',
    'PRODID:-//plenilune//plan//EN',
    'CALSCALE:GREGORIAN',
    ...plan.windows.flatMap((window) => {
      const shots = plan.shots?.window === window.rank ? plan.shots : null;
      const passes = shots?.passes.flatMap((pass) => passEvent(plan, window, shots, pass)) ?? [];
      return [...windowEvent(plan, window, shots), ...passes];
    }),
    'END:VCALENDAR',
  ];
  return lines.map((line) => `${folded(line)}\r\n`).join('');
}

function windowEvent(plan: Plan, window: PlannedWindow, shots: ShotList | null): string[] {
  const { start, end, reasons, fit } = window;
  const during = fit?.during ?? { setUp: start, end };
  return eventOf(window, {
    uid: uidOf(plan, window),
    start: during.setUp,
    end: during.end,
    summary: windowTitle(plan, window, shots) + (fit !== null && fit.spareS < 0 ? ' (too short)' : ''),
    description: [`Window ${spanText(start, end)}`, ...reasons, ...(shots ? passesOf(plan, shots) : [])],
  });
}

function passEvent(plan: Plan, window: PlannedWindow, { passes }: ShotList, pass: PlannedPass): string[] {
  const { number, start, end, driftS, aim, leadPx, entersAt } = pass;
  return eventOf(window, {
    uid: uidOf(plan, window, number),
    start,
    end,
    summary: `${plan.body} pass ${number} of ${passes.length}, ${driftS} s`,
    description: [
      `Start at ${clockText(plan, start)}, for ${driftS} s`,
      `Aim ${acrossText(aim)} across the drift, the leading limb ${Math.round(leadPx)} px outside the ${entersAt} edge`,
    ],
    partOf: uidOf(plan, window),
  });
}

interface CalendarEvent {
  readonly uid: string;
  readonly start: PlanMoment;
  readonly end: PlanMoment;
  readonly summary: string;
  readonly description: readonly string[];
  /** UID of the event that this one is a part of. */
  readonly partOf?: string;
}

function eventOf({ start: found, sun }: PlannedWindow, event: CalendarEvent): string[] {
  const { uid, start, end, summary, description, partOf } = event;
  const warning = sun ? [sun.warning, ...sun.cautions.map(({ text }) => text)] : [];
  return [
    'BEGIN:VEVENT',
    `UID:${uid}`,
    // No clock goes into results: the event is as old as its window's own beginning.
    `DTSTAMP:${stamp(found)}`,
    `DTSTART:${stamp(start)}`,
    `DTEND:${stamp(end)}`,
    `SUMMARY:${escaped(summary + (sun ? ' (mind the Sun)' : ''))}`,
    `DESCRIPTION:${escaped([...warning, ...description].join('\n'))}`,
    'TRANSP:TRANSPARENT',
    ...(partOf === undefined ? [] : [`RELATED-TO:${partOf}`]),
    'END:VEVENT',
  ];
}

function uidOf({ body }: Plan, { start, end }: PlannedWindow, pass?: number): string {
  const identity = { body, start: start.utc, end: end.utc, ...(pass !== undefined && { pass }) };
  return `${hashOf(identity).slice(0, 32)}@plenilune`;
}

/** When each pass starts, a line each, for whoever looks at the window alone. */
function passesOf(plan: Plan, { passes, setUp, totalS }: ShotList): string[] {
  return [
    `Aim for the first pass from ${clockText(plan, setUp)} on`,
    `${passCount(passes.length)} in ${lasting(totalS)}, start in ${plan.timeZone}:`,
    ...passes.map((pass) => `${pass.number}: ${clockText(plan, pass.start)}, ${pass.driftS} s`),
  ];
}

/** A moment as RFC 5545 writes it, `20310304T201500Z`. */
function stamp({ utc }: PlanMoment): string {
  return utc.replace(/[-:]/g, '');
}

function escaped(text: string): string {
  return text.replace(/[\\;,]/g, '\\$&').replace(/\n/g, '\\n');
}

/** Lines of 75 octets at most, no character broken in two; what follows begins with a space. */
function folded(line: string): string {
  let [out, octets] = ['', 0];
  for (const sign of line) {
    const size = Buffer.byteLength(sign);
    if (octets + size > 75) {
      out += '\r\n ';
      octets = 1;
    }
    out += sign;
    octets += size;
  }
  return out;
}
