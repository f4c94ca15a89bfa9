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

const scratch = useScratch();
const options: PlanOptions = {
  site: { latitudeDeg: 46.6213, longitudeDeg: 8.0407, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 2000 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-31T00:00:00Z'),
};
const made = plan({ ...options, wish: { feature: { name: 'Copernicus' } } });
const night = plan({ ...options, body: 'sun' });

/** Lines of a calendar as a reader sees them, once unfolded. */
const unfolded = (text: string): string[] => text.replaceAll('\r\n ', '').split('\r\n');

test('the calendar: an event for each window, folded, escaped, in UTC, stable', () => {
  const text = planCalendar(made)!;
  expect(text).toMatch(/^BEGIN:VCALENDAR\r\nVERSION:2\.0\r\n/);
  expect(text.endsWith('END:VCALENDAR\r\n')).toBe(true);
  expect(text.replaceAll('\r\n', '')).not.toMatch(/[\r\n]/);
  for (const line of text.split('\r\n')) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
  const lines = unfolded(text);
  const starts = lines.filter((line) => line.startsWith('DTSTART:'));
  expect(starts).toEqual(made.windows.map(({ start }) => `DTSTART:${start.utc.replace(/[-:]/g, '')}`));
  const [description] = lines.filter((line) => line.startsWith('DESCRIPTION:'));
  expect(description!.replace(/\\n/g, '\n').replace(/\\(.)/g, '$1')).toContain(made.windows[0]!.reasons.join('\n'));
  expect(description).not.toMatch(/[^\\][,;]/);
  const uids = lines.filter((line) => line.startsWith('UID:'));
  expect(new Set(uids).size).toBe(made.windows.length);
  expect(planCalendar(plan({ ...options, wish: { feature: { name: 'Copernicus' } } }))).toBe(text);
  expect(text).not.toMatch(/46\.6|8\.04/);
  expect(planCalendar(plan({ ...options, wish: { leastAltitudeDeg: 89 } }))).toBeNull();
});

test('the Sun is warned of in the sheet and in every event', () => {
  expect(planSheet(night)).toContain('without a certified full-aperture filter');
  const events = unfolded(planCalendar(night)!).filter((line) => line.startsWith('DESCRIPTION:'));
  expect(events.length).toBe(night.windows.length);
  for (const event of events) expect(event).toContain('without a certified full-aperture filter');
});

test('the sheet stands on its own, with a row for each pass', () => {
  const html = planSheet(made);
  expect(html).not.toMatch(/<script|<link|<img|url\(|@import|src=/);
  expect(html.match(/https?:[^"]*/g)).toEqual(['http://www.w3.org/2000/svg']);
  expect(html.match(/<tr><td>\d+<\/td><td>\d\d:\d\d:\d\d<\/td>/g)!.length).toBe(made.shots!.passes.length);
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
