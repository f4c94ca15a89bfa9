import { readdir, readFile, writeFile } from 'node:fs/promises';
import sharp from 'sharp';
import { expect, test } from 'vitest';
import { useScratch } from '../test/scratch.js';
import { readSettingsFile } from './capture/settings-file.js';
import { OutputError } from './job/errors.js';
import { plan } from './plan/plan.js';
import { planCalendar } from './plan/plan-calendar.js';
import { planDrawing } from './plan/plan-drawing.js';
import type { PlanOptions } from './plan/plan-options.js';
import { planSheet } from './plan/plan-sheet.js';
import { writePlanFiles } from './plan-files.js';
import { ephemeris } from './sky/ephemeris.js';

const scratch = useScratch();
const site = { latitudeDeg: 46.6213, longitudeDeg: 8.0407 };
const options: PlanOptions = {
  site: { ...site, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 2000 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-31T00:00:00Z'),
};
const made = plan({ ...options, wish: { feature: { name: 'Copernicus' } } });
const night = plan({ ...options, body: 'sun' });

/** Lines of a calendar as a reader sees them, once unfolded. */
const unfolded = (text: string): string[] => text.replaceAll('\r\n ', '').split('\r\n');

/** Texts of a property of the events, as a reader sees them. */
const read = (text: string, name: string): string[] =>
  unfolded(text).flatMap((line) =>
    line.startsWith(`${name}:`)
      ? [
          line
            .slice(name.length + 1)
            .replace(/\\n/g, '\n')
            .replace(/\\(.)/g, '$1'),
        ]
      : [],
  );

/** A moment of a plan as the calendar writes it. */
const stamp = ({ utc }: { readonly utc: string }): string => utc.replace(/[-:]/g, '');

test('the calendar: folded, escaped, in UTC, stable', () => {
  const text = planCalendar(made)!;
  expect(text).toMatch(/^BEGIN:VCALENDAR\r\nVERSION:2\.0\r\n/);
  expect(text.endsWith('END:VCALENDAR\r\n')).toBe(true);
  expect(text.replaceAll('\r\n', '')).not.toMatch(/[\r\n]/);
  for (const line of text.split('\r\n')) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
  const [description] = unfolded(text).filter((line) => line.startsWith('DESCRIPTION:'));
  expect(read(text, 'DESCRIPTION')[0]).toContain(made.windows[0]!.reasons.join('\n'));
  expect(description).not.toMatch(/[^\\][,;]/);
  expect(new Set(read(text, 'UID')).size).toBe(made.windows.length + 5);
  expect(planCalendar(plan({ ...options, wish: { feature: { name: 'Copernicus' } } }))).toBe(text);
  // Nor does it tell where the Moon stands in the sky, from which the site would follow.
  expect(text).not.toMatch(/46\.6|8\.04|azimuth/);
  expect(planCalendar(plan({ ...options, wish: { leastAltitudeDeg: 89 } }))).toBeNull();
});

test('a window lasts from aiming for its first pass to the end of its last; each pass of the chosen one is an event of its own', () => {
  const { passes, setUp } = made.shots!;
  const text = planCalendar(made)!;
  // The second window is too short for its passes and stands there as it is.
  const [chosen, short] = made.windows;
  expect(short!.fit!.spareS).toBeLessThan(0);
  expect(Date.parse(passes[0]!.start.utc) - Date.parse(setUp.utc)).toBe(60_000);
  const starts = [setUp, ...passes.map(({ start }) => start), short!.start];
  const ends = [passes.at(-1)!.end, ...passes.map(({ end }) => end), short!.end];
  expect(read(text, 'DTSTART')).toEqual(starts.map(stamp));
  expect(read(text, 'DTEND')).toEqual(ends.map(stamp));
  const [uid] = read(text, 'UID');
  expect(read(text, 'RELATED-TO')).toEqual(passes.map(() => uid));
  expect(read(text, 'SUMMARY').slice(1)).toEqual([
    ...passes.map(({ number, driftS }) => `Moon pass ${number} of 5, ${driftS} s`),
    expect.stringMatching(/^Moon \d\d % lit, window 2 \(too short\)$/),
  ]);
  const other = plan({ ...options, window: 2, wish: { leastAltitudeDeg: 59 } });
  const { during } = other.windows[0]!.fit!;
  expect(read(planCalendar(other)!, 'DTSTART')[0]).toBe(stamp(during!.setUp));
  expect(read(planCalendar(other)!, 'DTEND')[0]).toBe(stamp(during!.end));
  expect(chosen!.fit!.during).toEqual({ setUp, end: passes.at(-1)!.end });
});

test('the titles tell what the events are, and the chosen one when each pass starts', () => {
  const wish = { leastAltitudeDeg: 59 };
  const [first, second] = [1, 2].map((window) => plan({ ...options, window, wish }));
  const titles = (one: typeof made): string[] =>
    read(planCalendar(one)!, 'SUMMARY').filter((title) => !/ pass \d+ of /.test(title));
  const lit = first!.windows.map(({ best }) => {
    const { illuminatedFraction } = ephemeris('Moon', new Date(best.utc), { ...site, heightM: 0 });
    return `Moon ${Math.round(100 * illuminatedFraction!)} % lit`;
  });
  expect(titles(first!).slice(0, 3)).toEqual([`${lit[0]}, 5 passes`, `${lit[1]}, window 2`, `${lit[2]}, window 3`]);
  expect(titles(second!).slice(0, 2)).toEqual([`${lit[0]}, window 1`, `${lit[1]}, 5 passes`]);
  const descriptions = read(planCalendar(made)!, 'DESCRIPTION');
  const [chosen, other] = [descriptions[0]!, descriptions.at(-1)!];
  const passes = made.shots!.passes.map(
    ({ number, start, driftS }) =>
      `${number}: ${start.local.slice(11, 19)} (${start.utc.slice(11, 19)} UTC), ${driftS} s`,
  );
  expect(chosen.split('\n').slice(-5)).toEqual(passes);
  expect(chosen).toMatch(/^Window 2031-03-03 19:56 to .*\n/);
  expect(chosen).toContain('\n5 passes in 23 min, start in Europe/Zurich:\n');
  expect(other).not.toContain('start in');
  // The same windows keep their UIDs, whichever is chosen.
  const uids = (one: typeof made): string[] =>
    planCalendar(one)!
      .split('BEGIN:VEVENT')
      .filter((event) => !event.includes('RELATED-TO'))
      .flatMap((event) => read(event, 'UID'));
  expect(uids(second!)).toEqual(uids(first!));
  expect(titles(night)[0]).toMatch(/^Sun, \d+ passes \(mind the Sun\)$/);
});

test('the calendar has the lines that RFC 5545 asks for, each once and in order', () => {
  for (const one of [made, night]) {
    const events = planCalendar(one)!.split('BEGIN:VEVENT\r\n').slice(1);
    expect(events.length).toBe(one.windows.length + one.shots!.passes.length);
    for (const event of events) {
      const names = unfolded(event.replace('END:VCALENDAR\r\n', '')).map((line) => line.replace(/:.*/s, ''));
      const wanted = ['UID', 'DTSTAMP', 'DTSTART', 'DTEND', 'SUMMARY', 'DESCRIPTION', 'TRANSP'];
      expect(names).toEqual([...wanted, ...(names.includes('RELATED-TO') ? ['RELATED-TO'] : []), 'END', '']);
      expect(event).toMatch(/DTSTAMP:\d{8}T\d{6}Z\r\nDTSTART:\d{8}T\d{6}Z\r\nDTEND:\d{8}T\d{6}Z\r\n/);
    }
  }
});

test('the Sun is warned of in the sheet and in every event', () => {
  // On the sheet once, above all else; every window that it is about points to it.
  expect(planSheet(night).match(/without a certified full-aperture filter/g)!.length).toBe(1);
  expect(planSheet(night).match(/SUN: mind the warning above/g)!.length).toBe(night.windows.length);
  const events = unfolded(planCalendar(night)!).filter((line) => line.startsWith('DESCRIPTION:'));
  expect(events.length).toBe(night.windows.length + night.shots!.passes.length);
  for (const event of events) expect(event).toContain('without a certified full-aperture filter');
});

test('the sheet stands on its own, with a row for each pass', () => {
  const html = planSheet(made);
  expect(html).not.toMatch(/<script|<link|<img|url\(|@import|src=/);
  expect(html.match(/https?:[^"]*/g)).toEqual(['http://www.w3.org/2000/svg']);
  expect(html.match(/<tr><td data-name="pass">\d+<\/td><td data-name="start">\d\d:\d\d:\d\d<\/td>/g)!.length).toBe(
    made.shots!.passes.length,
  );
  expect(html).not.toMatch(/46\.62|8\.04/);
  const hostile = planSheet({ ...made, timeZone: '<b>&"' });
  expect(hostile).toContain('&#60;b&#62;&#38;&#34;');
});

test.each([
  [40, 110],
  [150, 170],
  [200, 300],
])('the drawing shows light where the Sun is, from elongation %d to %d', async (fromDeg, toDeg) => {
  for (const rollDeg of [-110, 0, 75]) {
    const { shots } = plan({
      ...options,
      optics: { focalLengthMm: 900 },
      rollDeg,
      wish: { elongation: { fromDeg, toDeg }, leastAltitudeDeg: 5 },
    });
    const { disc, passes } = shots!;
    // Without frames over it, the disc is the whole of what is drawn but for the frame's corners.
    const drawing = planDrawing(shots!).replace(/<polygon[^>]*fill-opacity[^>]*>/g, '');
    const { data, info } = await sharp(Buffer.from(drawing)).greyscale().raw().toBuffer({ resolveWithObject: true });
    // Where the disc is dark or light is read along the line to the bright limb, through the middle of the light.
    const toSun = ((disc.brightLimbPositionAngleDeg! - passes[0]!.aim.frameAngleDeg) * Math.PI) / 180;
    let [light, lightX, lightY, dark, darkX, darkY] = [0, 0, 0, 0, 0, 0];
    for (let y = 0; y < info.height - 118; y++) {
      for (let x = 0; x < info.width; x++) {
        const value = data[y * info.width + x]!;
        if (value > 232 && value < 250) [light, lightX, lightY] = [light + 1, lightX + x, lightY + y];
        if (value > 140 && value < 195) [dark, darkX, darkY] = [dark + 1, darkX + x, darkY + y];
      }
    }
    const along =
      (lightX / light - darkX / dark) * -Math.sin(toSun) + (lightY / light - darkY / dark) * -Math.cos(toSun);
    expect(along).toBeGreaterThan(0.9 * Math.hypot(lightX / light - darkX / dark, lightY / light - darkY / dark));
    expect(Math.abs(light / (light + dark) - disc.illuminatedFraction!)).toBeLessThan(0.05);
  }
});

test('files appear together or not at all, and are replaced only when told to', async () => {
  const paths = { htmlPath: scratch('a.html'), icsPath: scratch('a.ics') };
  await writeFile(paths.icsPath, 'mine');
  await expect(writePlanFiles(made, paths)).rejects.toThrow(OutputError);
  await expect(writePlanFiles(made, paths)).rejects.toThrow(/a\.ics exists/);
  expect(await readdir(scratch('.'))).toEqual(['a.ics']);
  expect(await writePlanFiles(made, { ...paths, force: true })).toEqual([paths.htmlPath, paths.icsPath]);
  expect(await readFile(paths.icsPath, 'utf8')).toBe(planCalendar(made));
  expect(await readFile(paths.htmlPath, 'utf8')).toBe(planSheet(made));
});

test('settings come from a file of any name, or a capture; what is no settings file is told so', async () => {
  await writeFile(scratch('mine.yaml'), 'optics:\n  focalLengthMm: 1234\n');
  await writeFile(scratch('capture.yaml'), 'optics:\n  focalLengthMm: 77\n');
  expect(await readSettingsFile(scratch('mine.yaml'))).toEqual({ optics: { focalLengthMm: 1234 } });
  expect(await readSettingsFile(scratch('.'))).toEqual({ optics: { focalLengthMm: 77 } });
  await expect(readSettingsFile(scratch('none.yaml'))).rejects.toThrow(/none\.yaml cannot be read \(ENOENT\)/);
  await writeFile(scratch('bad.yaml'), 'optics:\n  focalLength: 1\n');
  await expect(readSettingsFile(scratch('bad.yaml'))).rejects.toThrow(/bad\.yaml has a fault/);
});
