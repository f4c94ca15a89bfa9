import { type Browser, chromium, type Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { plan } from '../src/plan/plan.js';
import type { PlanOptions } from '../src/plan/plan-options.js';
import { planSheet } from '../src/plan/plan-sheet.js';

let browser: Browser;
beforeAll(async () => {
  browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
});
afterAll(() => browser?.close());

const options: PlanOptions = {
  site: { latitudeDeg: 46.6213, longitudeDeg: 8.0407, heightM: 1034, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 2000, apertureMm: 200 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5, readoutMs: 15 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-05T00:00:00Z'),
};
const sheets = {
  night: planSheet(plan(options)),
  // Low in the twilight every figure has its sign and all of its digits; the warning takes its room.
  dusk: planSheet(
    plan({
      ...options,
      optics: { focalLengthMm: 6000, apertureMm: 400 },
      sensor: { ...options.sensor, widthPx: 4096, heightPx: 2160 },
      pointingErrorArcsec: 20,
      from: new Date('2031-03-24T00:00:00Z'),
      to: new Date('2031-03-26T00:00:00Z'),
      wish: { sky: 'twilight', leastAltitudeDeg: 2 },
    }),
  ),
  none: planSheet(plan({ ...options, wish: { leastAltitudeDeg: 89 } })),
};

async function shown(html: string, width: number): Promise<Page> {
  const page = await browser.newPage({ viewport: { width, height: 900 } });
  await page.setContent(html);
  return page;
}

/** Texts of whatever ends to the right of the window, or of its own cell. */
const CUT = `[...document.querySelectorAll('body *')]
  .filter((part) => part.getBoundingClientRect().right > innerWidth + 0.5
    || (/^(TD|TH|DD|LI)$/.test(part.tagName) && part.scrollWidth > part.clientWidth + 1))
  .map((part) => part.textContent)`;

test.each(['night', 'dusk', 'none'] as const)('nothing of %s is cut off on screens of any width', async (name) => {
  const page = await shown(sheets[name], 1280);
  for (const width of [1280, 1100, 1000, 900, 768, 390, 320]) {
    await page.setViewportSize({ width, height: 900 });
    expect({ width, cut: await page.evaluate(CUT) }).toEqual({ width, cut: [] });
  }
});

test('the rows of the passes are of one height on 1000 px; on 390 px every figure has its name', async () => {
  const page = await shown(sheets.dusk, 1000);
  const heights = await page.evaluate(
    `[...document.querySelectorAll('.passes tbody tr')].map((row) => row.offsetHeight)`,
  );
  expect(new Set(heights as number[]).size).toBe(1);
  await page.setViewportSize({ width: 390, height: 900 });
  const names = await page.evaluate(`[...document.querySelectorAll('.passes tr:last-child td')]
    .map((cell) => getComputedStyle(cell, '::before').content)`);
  const columns = await page.evaluate(`[...document.querySelectorAll('.passes th')].map((name) => name.textContent)`);
  expect((names as string[]).slice(1)).toEqual((columns as string[]).slice(1).map((name) => `"${name}"`));
  expect((names as string[])[0]).toBe('"pass "');
});

test.each(['night', 'none'] as const)('%s is printed on one page', async (name) => {
  const page = await shown(sheets[name], 1000);
  const pdf = (await page.pdf({ preferCSSPageSize: true })).toString('latin1');
  expect(pdf.match(/\/Type \/Page\b/g)!.length).toBe(1);
});

test('optics, sensor and when are named; where is left for a pen', async () => {
  const page = await shown(sheets.night, 1000);
  const facts = (await page.evaluate(
    `[...document.querySelectorAll('dl div')].map((row) => row.innerText)`,
  )) as string[];
  expect(facts.map((row) => row.replace('\n', ': '))).toEqual([
    expect.stringMatching(
      /^Window: 2031-03-03 19:56 to .* UTC\): the Moon stands \d\d° high; .*; lasts \d+ min; 5 passes in 23 min, \d+ min to spare$/,
    ),
    'Optics: focal length 2000 mm, aperture 200 mm (f/10.0)',
    'Sensor: 2048 x 1080 px of 5.5 µm (11.3 x 5.9 mm), 16 bits, read out in 15 ms, 24 frames/s',
    'Site: times of Europe/Zurich, air of 895 hPa and 8.3 °C',
  ]);
  expect(await page.evaluate(`document.querySelector('dl .blank').offsetWidth`)).toBeGreaterThan(150);
  expect(await page.title()).toMatch(/^Moon \d\d % lit, 5 passes, 2031-03-03$/);
  for (const html of Object.values(sheets)) expect(html).not.toMatch(/46\.62|8\.04/);
});
