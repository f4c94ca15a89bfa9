import { hashOf } from '../job/hash.js';
import type { Plan, PlannedWindow, ShotList } from './plan-types.js';
import { clock, lasting, passCount, windowTitle } from './plan-words.js';

/**
 * The windows of a plan as an iCalendar file (RFC 5545), an event each, in UTC; that of the chosen window lists its passes. An event's UID follows from the body and the
 * window's times alone, so that the same window found again replaces itself; the site's coordinates are not in it. Null
 * without a window: a calendar holds one event at least.
 */
export function planCalendar(plan: Plan): string | null {
  if (plan.windows.length === 0) return null;
  const lines = [
    'BEGIN:VCALENDAR',
    'VERSION:2.0',
    'PRODID:-//plenilune//plan//EN',
    'CALSCALE:GREGORIAN',
    ...plan.windows.flatMap((window) => eventOf(plan, window)),
    'END:VCALENDAR',
  ];
  return lines.map((line) => `${folded(line)}\r\n`).join('');
}

function eventOf(plan: Plan, window: PlannedWindow): string[] {
  const { start, end, reasons, rank } = window;
  const uid = hashOf({ body: plan.body, start: start.utc, end: end.utc }).slice(0, 32);
  const shots = plan.shots?.window === rank ? plan.shots : null;
  const description = [
    ...(window.sun ? [window.sun.warning, ...window.sun.cautions.map(({ text }) => text)] : []),
    ...reasons,
    ...(shots ? passesOf(plan, shots) : []),
  ];
  return [
    'BEGIN:VEVENT',
    `UID:${uid}@plenilune`,
    // No clock goes into results: the event is as old as its own beginning.
    `DTSTAMP:${stamp(start.utc)}`,
    `DTSTART:${stamp(start.utc)}`,
    `DTEND:${stamp(end.utc)}`,
    `SUMMARY:${escaped(windowTitle(plan, window, shots) + (window.sun ? ' (mind the Sun)' : ''))}`,
    `DESCRIPTION:${escaped(description.join('\n'))}`,
    'TRANSP:TRANSPARENT',
    'END:VEVENT',
  ];
}

/** When each pass starts, a line each, for whoever has nothing but the calendar at hand. */
function passesOf({ timeZone }: Plan, shots: ShotList): string[] {
  const isUtc = /^(Z|UTC)$/i.test(timeZone);
  return [
    `${passCount(shots.passes.length)} in ${lasting(shots.totalS)}, start in ${timeZone}:`,
    ...shots.passes.map(({ number, start, driftS }) => {
      const utc = `${start.utc.slice(11, 19)} UTC`;
      return `${number}: ${isUtc ? utc : `${clock(start)} (${utc})`}, ${driftS} s`;
    }),
  ];
}

/** `2031-03-04T20:15:00Z` as RFC 5545 writes it. */
function stamp(utc: string): string {
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
