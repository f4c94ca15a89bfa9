// What a browser shows of the outputs of a whole run: a small rehearsal, its plate and its pack are made, and every picture
// that the web can show is drawn on a canvas, whose codes are compared with those that our own decoder gives.
import { readdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { pictures } from '../packages/core/dist/capture/picture-library.js';
import { publish, rehearse, stitch } from '../packages/core/dist/index.js';

const { chromium } = createRequire(new URL('../packages/core/package.json', import.meta.url))('playwright-core');

/** Where it is looked for, as the tests of reports do. */
export const BROWSER = '/usr/bin/chromium';
/** Decoders of JPEG may round differently: twice, in the transform and in the colours. */
const JPEG_TOLERANCE = 2;
/** Of a PNG with 16 bits a canvas has 8, rounded or cut off. */
const PNG_TOLERANCE = 1;

/** Makes the files in a folder, and gives a function that looks at one after the other, and one that ends the browser. */
export async function openInBrowser(folder) {
  const { outDir, packDir } = await makeOutputs(folder);
  const browser = await chromium.launch({
    executablePath: BROWSER,
    args: ['--no-sandbox', '--force-color-profile=srgb'],
  });
  const page = await browser.newPage();
  const tiles = join(outDir, 'plate_files');
  const levels = readdirSync(tiles);
  const jpegs = [
    ['preview.jpg', [join(outDir, 'preview.jpg')]],
    [
      'pack',
      readdirSync(packDir)
        .filter((name) => name.endsWith('.jpg'))
        .map((name) => join(packDir, name)),
    ],
    ['plate.dzi', levels.flatMap((level) => readdirSync(join(tiles, level)).map((name) => join(tiles, level, name)))],
  ];
  const looks = [
    ...jpegs.map(([name, paths]) => ({
      name,
      look: () =>
        tell(
          paths.map((path) => readFileSync(path)),
          page,
          'jpeg',
          JPEG_TOLERANCE,
        ),
    })),
    {
      name: 'crop-200x120.png',
      look: () => tell([readFileSync(join(outDir, 'crop-200x120.png'))], page, 'png', PNG_TOLERANCE),
    },
    { name: 'report.html', look: () => lookAtReport(browser, page, join(outDir, 'report.html')) },
    { name: 'plate.tif', look: () => lookAtTiff(page, join(outDir, 'plate.tif')) },
  ];
  return { looks, close: () => browser.close() };
}

async function makeOutputs(folder) {
  const night = join(folder, 'night');
  const [outDir, packDir] = [join(folder, 'out'), join(folder, 'pack')];
  await rehearse(night, { discDiameterPx: 500, frameWidthPx: 420, frameHeightPx: 300, framesPerPass: 4 });
  const crops = [{ widthPx: 200, heightPx: 120 }];
  await stitch(join(night, 'capture'), { outDir, masters: { zoomTiles: true, crops, cropFormat: 'png' } });
  await publish(outDir, { toDir: packDir, maker: { creator: 'A. B.', licence: 'CC0-1.0', title: 'Moon' } });
  return { outDir, packDir };
}

/** Compares pictures with what our decoder gives, and says by how much they differ. */
async function tell(files, page, type, tolerance) {
  let [samples, worst] = [0, 0];
  for (const bytes of files) {
    const { width, height, data } = await onCanvas(page, bytes, type);
    const own = await pictures(bytes, { ignoreIcc: true })
      .ensureAlpha()
      .toColourspace('srgb')
      .raw()
      .toBuffer({ resolveWithObject: true });
    if (own.info.width !== width || own.info.height !== height) throw new Error(`${width}x${height} is shown`);
    for (let i = 0; i < data.length; i += 4) {
      // A canvas holds colours multiplied with the alpha: where that is partial they are coarser.
      if (own.data[i + 3] !== 255) continue;
      for (let c = 0; c < 4; c++) worst = Math.max(worst, Math.abs(data[i + c] - own.data[i + c]));
      samples += 4;
    }
  }
  if (files.length === 0 || samples === 0) throw new Error('there is nothing to compare');
  if (worst > tolerance) throw new Error(`codes differ by up to ${worst} (within ${tolerance})`);
  return `${files.length} ${files.length === 1 ? 'picture' : 'pictures'}, ${samples} samples, off by ${worst} at most`;
}

/** The codes that a canvas has after a picture was drawn on it. */
async function onCanvas(page, bytes, type) {
  const source = `data:image/${type};base64,${bytes.toString('base64')}`;
  const { width, height, text } = await page.evaluate(async (url) => {
    const image = new Image();
    image.src = url;
    await image.decode();
    const canvas = new OffscreenCanvas(image.naturalWidth, image.naturalHeight);
    const context = canvas.getContext('2d', { colorSpace: 'srgb' });
    context.drawImage(image, 0, 0);
    const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
    let codes = '';
    for (let i = 0; i < data.length; i += 32768) codes += String.fromCharCode(...data.subarray(i, i + 32768));
    return { width: canvas.width, height: canvas.height, text: btoa(codes) };
  }, source);
  return { width, height, data: Buffer.from(text, 'base64') };
}

async function lookAtReport(browser, blank, path) {
  const page = await browser.newPage();
  const faults = [];
  page.on('console', (message) => faults.push(message.text()));
  page.on('pageerror', (error) => faults.push(error.message));
  await page.goto(pathToFileURL(path).href);
  await page.waitForSelector('#viewer[aria-busy="false"]', { state: 'attached', timeout: 30_000 });
  const tiles = await page.evaluate(() => JSON.parse(document.getElementById('plate-data').textContent).tiles);
  if (faults.length > 0) throw new Error(faults.join('; '));
  const files = Object.values(tiles).map((text) => Buffer.from(text, 'base64'));
  return `opens without a fault; its tiles: ${await tell(files, blank, 'jpeg', JPEG_TOLERANCE)}`;
}

/** TIFF is no format of the web: that it is not shown is what is expected, and told. */
async function lookAtTiff(page, path) {
  const shown = await onCanvas(page, readFileSync(path), 'tiff').then(
    () => true,
    () => false,
  );
  return shown ? 'is shown' : 'is not shown: browsers of this kind read no TIFF';
}
