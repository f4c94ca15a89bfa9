// The small plates of readers.mjs, and what their samples were meant to be, from the formulas of the standards.
import { closeSync, openSync, readFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';

const load = (name) => import(`../packages/core/dist/${name}.js`);
const { createRandom } = await load('compute/random');
const { writePlateExr } = await load('plate/exr');
const { srgbProfile } = await load('plate/icc');
const { inPrimaries, profileOf } = await load('plate/master-colour');
const { writeMatte } = await load('plate/matte');
const { plateOnDisk } = await load('plate/plate-source');
const { writePlatePng } = await load('plate/png');
const { writePlateTiff } = await load('plate/tiff');
const { writePlateFloatTiff } = await load('plate/tiff-float');
const { writeZoomTiles } = await load('plate/zoom-tiles');

export const XMP_TITLE = 'A plate of the Moon';
const XMP = `<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:title><rdf:Alt><rdf:li xml:lang="x-default">${XMP_TITLE}</rdf:li></rdf:Alt></dc:title></rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>`;

const [WIDTH, HEIGHT] = [611, 530];
const COUNT = WIDTH * HEIGHT;
/** Linear BT.709 to linear P3 with the same white, to seven places. */
const TO_P3 = [0.8224622, 0.1775378, 0, 0.0331942, 0.9668058, 0, 0.0170827, 0.0723974, 0.9105199];
/** Linear BT.709 to linear ACES AP1, adapted by Bradford's transform, as published with the ACES colour transforms. */
const TO_AP1 = [0.6130974, 0.3395231, 0.0473795, 0.0701937, 0.9163539, 0.0134524, 0.0206156, 0.1095698, 0.8698146];
const DISC = { centreX: 300.2, centreY: 260.7, aPx: 200, bPx: 190, angleDeg: 20 };
const EDGE = { sigmaPx: 1.5, offsetPx: 0 };

const srgb = (v) => (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055);
const code = (v) => Math.round(65535 * Math.min(1, Math.max(0, v)));

/** Writes every kind of file into a folder. */
export async function makeFiles(folder) {
  const planes = scene();
  const source = onDisk(join(folder, 'plate.f32'), planes);
  const at = (name) => ({ name, path: join(folder, name), width: WIDTH, height: HEIGHT });
  const tiff = (name, more) => ({
    ...at(name),
    pages: 3,
    alpha: true,
    tolerance: 0,
    kind: 'codes',
    xmp: false,
    ...more,
  });
  const colours = { p3: { encoding: 'bt1886', primaries: 'p3' }, ap1: { encoding: 'linear', primaries: 'aces-ap1' } };
  const codes = rgba(planes, srgb);
  const tiffs = [
    tiff('plate.tif', { meant: codes, xmp: true, profile: srgbProfile(), title: 'sRGB IEC61966-2-1' }),
    tiff('big.tif', { meant: codes, profile: srgbProfile() }),
    tiff('p3.tif', {
      meant: rgba(inOther(TO_P3, planes), (v) => v ** (1 / 2.4)),
      profile: profileOf(colours.p3),
      title: 'P3 D65, BT.1886',
      // The curve is steep near black: the matrix is known to seven places.
      tolerance: 2,
      inSrgb: { profile: srgbProfile(), codes: codes.filter((_, i) => i % 4 < 3) },
    }),
    tiff('ap1.tif', {
      meant: rgba(inOther(TO_AP1, planes), (v) => v),
      profile: profileOf(colours.ap1),
      title: 'ACES AP1, linear',
      tolerance: 2,
      inSrgb: { profile: srgbProfile(), codes: codes.filter((_, i) => i % 4 < 3) },
    }),
    tiff('plate-float.tif', {
      meant: straight(planes),
      kind: 'float',
      profile: profileOf({ encoding: 'linear', primaries: 'bt709' }),
      title: 'BT.709, linear',
    }),
    tiff('matte.tif', { meant: matte(), alpha: false, tolerance: 1 }),
  ];
  await writePlateTiff(tiffs[0].path, source, { xmp: XMP });
  await writePlateTiff(tiffs[1].path, source, { bigtiff: true });
  await writePlateTiff(tiffs[2].path, inPrimaries(source, 'p3'), { colour: colours.p3 });
  await writePlateTiff(tiffs[3].path, inPrimaries(source, 'aces-ap1'), { colour: colours.ap1 });
  await writePlateFloatTiff(tiffs[4].path, source);
  await writeMatte(tiffs[5].path, source, DISC, EDGE);
  const bt709 = ['(0.64 0.33)', '(0.3 0.6)', '(0.15 0.06)', '(0.3127 0.329)'];
  const exrs = [
    { ...at('plate.exr'), kind: 'float', meant: planar(planes), tolerance: 1e-7, chromaticities: bt709 },
    // Half of the last of 11 bits, for light from a half to one.
    { ...at('half.exr'), kind: 'half', meant: planar(planes), tolerance: 2 ** -12 + 1e-7, chromaticities: bt709 },
  ];
  await writePlateExr(exrs[0].path, source, { samples: 'float' });
  await writePlateExr(exrs[1].path, source, { samples: 'half' });
  const png = { ...at('crop.png'), meant: codes };
  await writePlatePng(png.path, source);
  const zoom = join(folder, 'plate.dzi');
  await writeZoomTiles(zoom, source);
  return { tiffs, exrs, png, zoom: { path: zoom, tiles: tilesOf(planes, folder) } };
}

/** Red, green, blue and coverage: ramps, grain, and edges of the coverage of every kind. */
function scene() {
  const random = createRandom('readers');
  const planes = Array.from({ length: 4 }, () => new Float32Array(COUNT));
  for (let y = 0, i = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++, i++) {
      const covered = x < 40 ? 0 : x < 80 ? (x - 40) / 40 : 1;
      planes[3][i] = covered;
      if (covered === 0) continue;
      const grain = 1 + 0.02 * random.normal();
      planes[0][i] = Math.min(0.95, (0.02 + (0.9 * x) / WIDTH) * grain);
      planes[1][i] = Math.min(0.95, (0.05 + (0.7 * y) / HEIGHT) * grain);
      planes[2][i] = Math.min(0.95, 0.3 * grain);
    }
  }
  return planes;
}

function onDisk(path, planes) {
  const file = openSync(path, 'w');
  for (const plane of planes) writeSync(file, plane);
  closeSync(file);
  return plateOnDisk({ path, width: WIDTH, height: HEIGHT, planes: 4 });
}

/** Codes of R, G, B and coverage, pixel by pixel. */
function rgba(planes, encode) {
  return Uint16Array.from({ length: 4 * COUNT }, (_, k) => {
    const value = planes[k % 4][k >> 2];
    if (k % 4 === 3) return code(value);
    return code(planes[3][k >> 2]) === 0 ? 0 : code(encode(value));
  });
}

function straight(planes) {
  return Float32Array.from({ length: 4 * COUNT }, (_, k) => planes[k % 4][k >> 2]);
}

/** Planes of G, B, R, A as FFmpeg has them, multiplied with the coverage. */
function planar(planes) {
  return Float32Array.from({ length: 4 * COUNT }, (_, k) => {
    const i = k % COUNT;
    const plane = planes[[1, 2, 0, 3][Math.floor(k / COUNT)]];
    return plane === planes[3] ? plane[i] : plane[i] * planes[3][i];
  });
}

function inOther(m, planes) {
  const rows = [0, 3, 6].map((r) =>
    planes[0].map((_, i) => m[r] * planes[0][i] + m[r + 1] * planes[1][i] + m[r + 2] * planes[2][i]),
  );
  return [...rows, planes[3]];
}

/** The disc's mask blurred by a Gaussian, to first order in its curvature, by the trapezium rule. */
function matte() {
  const [cos, sin] = [Math.cos(Math.PI / 9), Math.sin(Math.PI / 9)];
  const table = Float64Array.from({ length: 20001 }, (_, k) => Math.exp(-(((k - 10000) / 1000) ** 2) / 2));
  let sum = 0;
  const integral = table.map((value, k) => {
    if (k > 0) sum += (value + table[k - 1]) / 2000;
    return sum / Math.sqrt(2 * Math.PI);
  });
  return Uint16Array.from({ length: COUNT }, (_, i) => {
    const [dx, dy] = [(i % WIDTH) - DISC.centreX, Math.floor(i / WIDTH) - DISC.centreY];
    const [u, v] = [(dx * cos + dy * sin) / DISC.aPx, (dy * cos - dx * sin) / DISC.bPx];
    const radius = Math.hypot(u, v);
    const distance = ((radius - 1) * radius) / Math.hypot(u / DISC.aPx, v / DISC.bPx);
    const sigmas = Math.min(10, Math.max(-10, -distance / EDGE.sigmaPx));
    const at = sigmas * 1000 + 10000;
    const below = Math.min(19999, Math.floor(at));
    return code(integral[below] + (at - below) * (integral[below + 1] - integral[below]));
  });
}

/** All tiles of the plate's own level: their sizes and the mean of their codes. */
function tilesOf(planes, folder) {
  const tiles = [];
  const names = readFileSync(join(folder, 'plate.dzi'), 'utf8');
  if (!names.includes(`Width="${WIDTH}" Height="${HEIGHT}"`)) throw new Error('plate.dzi tells another size');
  for (let row = 0; row * 254 < HEIGHT; row++) {
    for (let column = 0; column * 254 < WIDTH; column++) {
      const [left, top] = [Math.max(0, column * 254 - 1), Math.max(0, row * 254 - 1)];
      const [right, bottom] = [Math.min(WIDTH, column * 254 + 255), Math.min(HEIGHT, row * 254 + 255)];
      let sum = 0;
      for (let y = top; y < bottom; y++) {
        for (let x = left; x < right; x++) {
          for (let c = 0; c < 3; c++) sum += srgb(planes[c][y * WIDTH + x] * planes[3][y * WIDTH + x]);
        }
      }
      const [width, height] = [right - left, bottom - top];
      const file = join(folder, 'plate_files', '10', `${column}_${row}.jpg`);
      tiles.push({ file, width, height, mean: sum / (3 * width * height) });
    }
  }
  return tiles;
}
