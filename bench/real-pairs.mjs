// Photographs of ../shared/real/photos: pairs that show the same ground, placed by searchSimilarity and by registerPair
// under any turn and scale, beside the relations that MANIFEST.md there gives; and pairs that must not be joined. Distances
// are between both answers over the lit ground that both pictures show, px of the second one. Exit 1 when a pair is joined
// wrongly, or one is not placed within twice the rms of the measured relation's own matches.
import { fileURLToPath } from 'node:url';
import { readStill } from '../packages/core/dist/capture/read-still.js';
import { applyX, applyY, poseAbout } from '../packages/core/dist/compute/affine.js';
import { luminance } from '../packages/core/dist/compute/image.js';
import { isCertain, registerPair } from '../packages/core/dist/index.js';
import { searchPrepared } from '../packages/core/dist/registration/pair-search.js';
import { prepareSearchPicture } from '../packages/core/dist/registration/pair-search-picture.js';
import { printMachine, printTable } from './machine.mjs';

const SAME = [
  ['gibbous-part-south.png', 'gibbous-whole.png', 0.36, -2.8, 623.2, 341.3, 0.8],
  ['gibbous-part-north.png', 'gibbous-whole.png', 0.36, -2.67, 281.2, 487.3, 0.7],
  ['gibbous-part-south.png', 'gibbous-part-north.png', 0.997, -0.05, 972, -361, 1.7],
  ['nearly-full-a.png', 'nearly-full-b.png', 0.998, -0.02, -91, -3, 2.5],
  ['crescent-infrared.jpg', 'crescent-visible.jpg', 0.979, -19.4, 911, 1417, 8],
  ['eclipse-1.jpg', 'eclipse-2.jpg', 1.418, 12.6, 313, -1093, 4.7],
  ['eclipse-2.jpg', 'eclipse-3.jpg', 0.9995, 6.5, 167, 69, 4.3],
  ['eclipse-1.jpg', 'eclipse-3.jpg', 1.415, 19.8, 632, -980, 4.6],
];
const MOONS = ['gibbous-whole.png', 'nearly-full-a.png', 'crescent-visible.jpg', 'eclipse-2.jpg'];
const OTHERS = [
  ...MOONS.flatMap((moon) => [
    ['sun-white-light.png', moon],
    ['negative-garden-night.jpg', moon],
  ]),
  ['crescent-limb-panel.png', 'crescent-visible.jpg'],
  ['sun-white-light.png', 'negative-garden-night.jpg'],
];
const ANY = { freedom: 'similarity', rotationDeg: 'any', scaleRange: 3 };
const photos = new Map();
let good = true;

printMachine();
const rows = [];
for (const [moving, fixed, scale, turnDeg, tx, ty, rmsPx] of SAME) {
  const [a, b] = [await photo(moving), await photo(fixed)];
  const told = poseAbout({ x: 0, y: 0 }, { shiftX: tx, shiftY: ty, rotationDeg: turnDeg, scale });
  const [found, searchMs] = timed(() => search(b, a).find(isCertain));
  const [pair, pairMs] = timed(() => registerPair(b.picture, a.picture, ANY));
  const bySearch = found && distancePx(found.pose, told, a, b);
  const byPair = pair.placed ? distancePx(pair.pose, told, a, b) : undefined;
  good &&= bySearch !== undefined && bySearch.worst <= 2 * Math.max(rmsPx, 1);
  rows.push([
    `${moving} -> ${fixed}`,
    found ? `${found.scale.toFixed(4)} (${scale})` : '-',
    found ? `${found.rotationDeg.toFixed(2)} (${turnDeg})` : '-',
    rmsPx,
    bySearch ? `${bySearch.rms.toFixed(2)} / ${bySearch.worst.toFixed(2)}` : 'not placed',
    `${searchMs.toFixed(0)} ms`,
    byPair ? `${byPair.rms.toFixed(2)} / ${byPair.worst.toFixed(2)}` : pair.reason,
    `${pairMs.toFixed(0)} ms`,
  ]);
}
const header = ['pair', 'scale', 'turn, deg', 'told rms', 'search rms / worst', '', 'registerPair rms / worst', ''];
printTable(header, rows);
let joined = 0;
for (const [moving, fixed] of OTHERS) {
  const [a, b] = [await photo(moving), await photo(fixed)];
  const bySearch = search(b, a).some(isCertain);
  const byPair = registerPair(b.picture, a.picture, ANY).placed;
  if (bySearch || byPair) console.log(`joined wrongly: ${moving} -> ${fixed}`);
  if (bySearch || byPair) joined++;
}
console.log(`${OTHERS.length} pairs that must not be joined: ${joined} joined`);
process.exitCode = good && joined === 0 ? 0 : 1;

async function photo(file) {
  if (!photos.has(file)) {
    const path = fileURLToPath(new URL(`../../shared/real/photos/${file}`, import.meta.url));
    const light = luminance((await readStill(path)).image);
    photos.set(file, { picture: light, prepared: prepareSearchPicture({ light }) });
  }
  return photos.get(file);
}

function search(fixed, moving) {
  return searchPrepared(fixed.prepared, moving.prepared, { rotationDeg: 'any', scale: [0.3, 3] });
}

function timed(work) {
  const started = performance.now();
  const result = work();
  return [result, performance.now() - started];
}

function distancePx(p, q, { prepared: { ground, originX, originY, stepX, stepY } }, { picture: { width, height } }) {
  let squares = 0;
  let count = 0;
  let worst = 0;
  for (let i = 0; i < ground.data.length; i += 7) {
    if (ground.data[i] === 0) continue;
    const x = originX + (i % ground.width) * stepX;
    const y = originY + Math.floor(i / ground.width) * stepY;
    const [u, v] = [applyX(q, x, y), applyY(q, x, y)];
    if (u < 0 || v < 0 || u > width - 1 || v > height - 1) continue;
    const distance = Math.hypot(applyX(p, x, y) - u, applyY(p, x, y) - v);
    squares += distance * distance;
    count++;
    worst = Math.max(worst, distance);
  }
  return { rms: Math.sqrt(squares / count), worst };
}
