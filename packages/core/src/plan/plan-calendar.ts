import { hashOf } from '../job/hash.js';
import type { Plan, PlannedWindow } from './plan-types.js';
import { lasting } from './plan-words.js';

/**
 * The windows of a plan as an iCalendar file (RFC 5545), an event each, in UTC. An event's UID follows from the body and the
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
    ...(shots ? [`passes: ${shots.passes.length}, from ${shots.passes[0]!.start.utc}, ${lasting(shots.totalS)}`] : []),
  ];
  return [
    'BEGIN:VEVENT',
    `UID:${uid}@plenilune`,
    // No clock goes into results: the event is as old as its own beginning.
    `DTSTAMP:${stamp(start.utc)}`,
    `DTSTART:${stamp(start.utc)}`,
    `DTEND:${stamp(end.utc)}`,
    `SUMMARY:${escaped(`${plan.body}, window ${rank}${window.sun ? ' (mind the Sun)' : ''}`)}`,
    `DESCRIPTION:${escaped(description.join('\n'))}`,
    'TRANSP:TRANSPARENT',
    'END:VEVENT',
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
