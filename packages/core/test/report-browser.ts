import { pathToFileURL } from 'node:url';
import { type Browser, type BrowserContextOptions, chromium, type Page, type Request } from 'playwright-core';
import { afterAll, afterEach, beforeAll } from 'vitest';

/** A page, and what must stay empty while it is looked at. */
export interface Watched {
  readonly page: Page;
  /** Messages of the console, errors, dialogs, and requests for anything that the file does not hold. */
  readonly faults: readonly string[];
}

/** A real browser for a test file, which must be installed; opens files as a double click does. */
export function useBrowser(): (path: string, options?: BrowserContextOptions) => Promise<Watched> {
  let browser: Browser;
  beforeAll(async () => {
    browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] });
  });
  // A page that nobody looks at any more is still drawn.
  afterEach(async () => {
    for (const context of browser.contexts()) await context.close();
  });
  afterAll(() => browser?.close());
  return async (path, options) => {
    const context = await browser.newContext({
      viewport: { width: 1200, height: 900 },
      reducedMotion: 'reduce',
      ...options,
    });
    const page = await context.newPage();
    const faults: string[] = [];
    const own = pathToFileURL(path).href;
    page.on('console', (message) => faults.push(`console: ${message.text()}`));
    page.on('pageerror', (error) => faults.push(`error: ${error.message}`));
    // What the policy refuses is told in the console, and never leaves.
    const note = (request: Request): void => {
      const isRefused = request.failure()?.errorText === 'csp';
      if (request.url() !== own && !/^(data|blob):/.test(request.url()) && !isRefused)
        faults.push(`request: ${request.url()}`);
    };
    page.on('requestfinished', note);
    page.on('requestfailed', note);
    page.on('dialog', (dialog) => {
      faults.push(`dialog: ${dialog.message()}`);
      void dialog.dismiss();
    });
    await page.goto(own);
    await settled(page);
    return { page, faults };
  };
}

/** Waits until every tile in view is drawn. */
export async function settled(page: Page): Promise<void> {
  await page.waitForSelector('#viewer[aria-busy="false"]', { timeout: 20_000, state: 'attached' });
  await page.evaluate('new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))');
}
