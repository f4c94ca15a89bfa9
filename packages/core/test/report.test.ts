import { readFile, stat, writeFile } from 'node:fs/promises';
import axe from 'axe-core';
import type { Page } from 'playwright-core';
import { beforeAll, describe, expect, test } from 'vitest';
import { pictures } from '../src/capture/picture-library.js';
import { encodeSrgb8 } from '../src/plate/encode.js';
import { MOST_REPORT_BYTES, writeReport } from '../src/report/write-report.js';
import { settled, useBrowser } from './report-browser.js';
import { HOSTILE, madeInput, madePlate } from './report-fixture.js';
import { useScratch } from './scratch.js';

const scratch = useScratch();
const open = useBrowser();

const plate = madePlate(1500, 1200);
let path = '';
beforeAll(async () => {
  path = scratch('report.html');
  await writeReport(path, madeInput(plate, HOSTILE));
});

/** Pixels of the part of the page that the viewer takes. */
async function viewerPixels(page: Page): Promise<{ data: Buffer; width: number; height: number }> {
  const shot = await page.locator('.stage').screenshot();
  const { data, info } = await pictures(shot).removeAlpha().raw().toBuffer({ resolveWithObject: true });
  return { data, width: info.width, height: info.height };
}

/** Place of plate px (0, 0) in the viewer, screen px. */
async function originOf(page: Page): Promise<[number, number]> {
  const transform = await page.locator('#space').getAttribute('transform');
  const [, x, y] = /^translate\((\S+) (\S+)\)/.exec(transform!)!;
  return [Number(x), Number(y)];
}

/** Most that two decoders of the same JPEG differ by, in 8-bit codes. */
const DECODER_CODES = 2;

describe('in a browser, from a file', () => {
  test('opens without a message, a request or a dialog, whatever files are called', async () => {
    const { page, faults } = await open(path);
    expect((await page.locator('main').textContent())!.split(HOSTILE).length).toBeGreaterThan(20);
    for (const summary of await page.locator('summary').all()) await summary.click();
    for (const box of await page.locator('[data-layer]').all()) await box.check();
    expect(await page.locator('img, iframe, object').count()).toBe(0);
    expect(await page.locator('script').count()).toBe(3);
    expect(faults).toEqual([]);
  });

  test('the policy keeps a program that got in from running, and from asking for anything', async () => {
    const broken = scratch('broken.html');
    const text = await readFile(path, 'utf8');
    const bad = '<script>window.ran = true</script><img src="https://plate.example/x.png">';
    await writeFile(broken, text.replace('<main>', `<main>${bad}`));
    const { page, faults } = await open(broken);
    expect(await page.evaluate("'ran' in window")).toBe(false);
    // Asked for or not, it is refused before anything leaves.
    expect(faults.filter((fault) => !/Content Security Policy/.test(fault))).toEqual([]);
    expect(faults.length).toBeGreaterThan(0);
  });

  test('every layer shows, and goes again', async () => {
    const { page } = await open(path);
    const before = await viewerPixels(page);
    const boxes = await page.locator('[data-layer]').all();
    expect(await Promise.all(boxes.map((box) => box.getAttribute('data-layer')))).toEqual([
      ...['coverage', 'sharpness', 'footprints', 'seams', 'residuals', 'tracks', 'features'],
    ]);
    for (const box of boxes) {
      await box.check();
      const shown = await viewerPixels(page);
      let changed = 0;
      for (let i = 0; i < shown.data.length; i++) if (Math.abs(shown.data[i]! - before.data[i]!) > 24) changed++;
      expect(changed, (await box.getAttribute('data-layer'))!).toBeGreaterThan(500);
      await box.uncheck();
      expect((await viewerPixels(page)).data.equals(before.data)).toBe(true);
    }
  });

  test('layers lie where the plate says, at any zoom', async () => {
    const { page } = await open(path);
    await page.locator('[data-layer="features"]').check();
    for (const button of ['#whole', '#closer', '#true-size']) {
      await page.locator(button).click();
      await settled(page);
      const stage = (await page.locator('.stage').boundingBox())!;
      const label = (await page.locator('#layer-features .lit .label').boundingBox())!;
      const [x0, y0] = await originOf(page);
      const scale = Number(/scale\((\S+)\)/.exec((await page.locator('#space').getAttribute('transform'))!)![1]);
      // The name begins 6 px to the right of its place, and its line stands 4 px below it.
      expect(Math.abs(label.x - stage.x - 6 - (x0 + (0.4 * 1500 + 0.5) * scale))).toBeLessThan(4);
      expect(Math.abs(label.y + label.height / 2 - stage.y - (y0 + (0.4 * 1200 + 0.5) * scale))).toBeLessThan(6);
      expect(label.height).toBeLessThan(30);
    }
  });

  test('at 1:1 a pixel of the plate is a pixel of the screen, within what JPEG changes', async () => {
    const { page } = await open(path);
    await page.locator('#true-size').click();
    await settled(page);
    expect(await page.locator('#scale').textContent()).toBe('100 %');
    const { data, width } = await viewerPixels(page);
    const [x0, y0] = await originOf(page);
    const held = JSON.parse((await page.locator('#plate-data').textContent())!) as { tiles: Record<string, string> };
    const tile = await pictures(Buffer.from(held.tiles['2/1/1']!, 'base64')).raw().toBuffer();
    const { planes } = plate.read({ x0: 512, y0: 512, width: 512, height: 512 }).image;
    let [offTile, squares] = [0, 0];
    const [first, end] = [48, 188];
    for (let y = first; y < end; y++) {
      for (let x = first; x < end; x++) {
        for (let c = 0; c < 3; c++) {
          const shown = data[((y + 512 + Math.round(y0)) * width + x + 512 + Math.round(x0)) * 3 + c]!;
          offTile = Math.max(offTile, Math.abs(shown - tile[(y * 512 + x) * 3 + c]!));
          squares += (shown - encodeSrgb8(planes[c]![y * 512 + x]!)) ** 2;
        }
      }
    }
    // The pixel beside is off by 2.8 codes rms, and by more than 10 somewhere.
    expect(offTile).toBeLessThanOrEqual(DECODER_CODES);
    expect(Math.sqrt(squares / ((end - first) ** 2 * 3))).toBeLessThan(3.2);
  });

  test('keys move, zoom and show pixels; the wheel is the page\u2019s until the viewer is entered', async () => {
    const { page } = await open(path);
    const scale = () => page.locator('#scale').textContent();
    const whole = await scale();
    await page.locator('.stage').hover();
    await page.mouse.wheel(0, 300);
    await expect.poll(() => page.evaluate<number>('scrollY')).toBeGreaterThan(0);
    expect(await scale()).toBe(whole);
    await page.evaluate('scrollTo(0, 0)');
    await page.locator('.openseadragon-canvas').focus();
    await page.keyboard.press('1');
    await expect.poll(scale).toBe('100 %');
    const before = await originOf(page);
    await page.keyboard.press('ArrowRight');
    await expect.poll(async () => (await originOf(page))[0]).toBeLessThan(before[0] - 10);
    await page.keyboard.press('f');
    await page.keyboard.press('0');
    await expect.poll(scale).toBe(whole);
  });

  test('fits a phone: nothing is wider than the screen, tables scroll by themselves', async () => {
    const { page, faults } = await open(path, { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2 });
    for (const summary of await page.locator('summary').all()) await summary.click();
    expect(await page.evaluate('document.documentElement.scrollWidth')).toBe(390);
    const stage = (await page.locator('.stage').boundingBox())!;
    expect(stage.width).toBe(390 - 2 * 16);
    expect(stage.width / stage.height).toBeCloseTo(1500 / 1200, 1);
    await page.locator('#true-size').click();
    await settled(page);
    // Half as large in CSS px: every pixel of the screen is one of the plate.
    expect(await page.locator('#scale').textContent()).toBe('100 %');
    expect(faults).toEqual([]);
  });

  test('on paper the plate keeps its shape and controls are gone', async () => {
    const { page } = await open(path);
    await page.emulateMedia({ media: 'print' });
    await page.setViewportSize({ width: 700, height: 900 });
    const box = (await page.locator('#viewer canvas').first().boundingBox())!;
    const ratio = await page.evaluate<string>(
      "getComputedStyle(document.querySelector('.stage')).getPropertyValue('--ratio')",
    );
    expect(box.width / box.height).toBeCloseTo(Number(ratio), 1);
    for (const gone of ['#theme', '.tools', '.layers']) expect(await page.locator(gone).isVisible()).toBe(false);
  });

  test.each(['light', 'dark'] as const)(
    '%s, as the system says: axe finds nothing serious, and the switch changes it',
    async (colorScheme) => {
      const { page } = await open(path, { colorScheme });
      const paper = () => page.evaluate<string>('getComputedStyle(document.body).backgroundColor');
      const asked = await paper();
      expect(luma(asked) < 60).toBe(colorScheme === 'dark');
      for (const summary of await page.locator('summary').all()) await summary.click();
      await page.evaluate(axe.source);
      // What passes is thousands of places: their number is all that is taken out of the page.
      const found = await page.evaluate<AxeResult>(
        'axe.run().then(({ passes, violations }) => ({ passed: passes.length, violations }))',
      );
      expect(found.passed).toBeGreaterThan(20);
      expect(found.violations.map((v) => [v.impact, v.id, v.nodes[0]?.html])).toEqual([]);
      await page.getByRole('button', { name: colorScheme === 'dark' ? 'Light' : 'Dark' }).click();
      expect(luma(await paper()) < 60).toBe(colorScheme === 'light');
      await page.getByRole('button', { name: colorScheme === 'dark' ? 'Dark' : 'Light' }).click();
      expect(await paper()).toBe(asked);
    },
  );
});

interface AxeResult {
  readonly passed: number;
  readonly violations: readonly {
    readonly impact: string;
    readonly id: string;
    readonly nodes: readonly { readonly html: string }[];
  }[];
}

function luma(colour: string): number {
  const [r, g, b] = colour.match(/\d+/g)!.map(Number);
  return (r! + g! + b!) / 3;
}

test('the same input gives the same bytes; a report that is there stays unless it may be replaced', async () => {
  const small = madeInput(madePlate(700, 500, 1));
  await writeReport(scratch('one.html'), small);
  await writeReport(scratch('two.html'), small);
  const bytes = await readFile(scratch('one.html'));
  expect(bytes.equals(await readFile(scratch('two.html')))).toBe(true);
  await expect(writeReport(scratch('one.html'), small)).rejects.toMatchObject({ code: 'OUTPUT_EXISTS' });
  await writeReport(scratch('one.html'), small, { force: true });
  const abort = AbortSignal.abort();
  await expect(writeReport(scratch('three.html'), small, { signal: abort })).rejects.toMatchObject({
    code: 'INTERRUPTED',
  });
});

test('without features there is no layer for them, and one pass has no seams', async () => {
  const { features: _, ...rest } = madeInput(madePlate(700, 500));
  const { sidecar } = rest;
  const alone = { ...sidecar, passes: sidecar.passes.slice(0, 1), overlaps: [] };
  await writeReport(scratch('alone.html'), { ...rest, sidecar: alone, residuals: [] });
  const { page, faults } = await open(scratch('alone.html'));
  expect(await page.locator('[data-layer]').count()).toBe(4);
  expect(faults).toEqual([]);
});

test('a plate of 10000 px fits into 15 MB, and the report says what its finest view is', async () => {
  const large = madePlate(10_000, 5000);
  await writeReport(scratch('large.html'), madeInput(large));
  expect((await stat(scratch('large.html'))).size).toBeLessThanOrEqual(MOST_REPORT_BYTES);
  const { page, faults } = await open(scratch('large.html'));
  const stage = (await page.locator('.stage').boundingBox())!;
  expect(stage.width / stage.height).toBeCloseTo(2, 1);
  const told = (await page.locator('#plate .note').textContent())!;
  await page.locator('#true-size').click();
  await settled(page);
  const finest = /finest view here is 5000 × 2500 px, 1:2 of the master/.test(told) ? '50 %' : '100 %';
  expect(await page.locator('#scale').textContent()).toBe(finest);
  expect(faults).toEqual([]);
});
