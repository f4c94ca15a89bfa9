// What is a plate made of, and where does each pass's sharpest frame lie on it? Arguments: [FOLDER of the plate]
import { readSidecar } from '@plenilune/core';

const [plateDir = 'plates/night'] = process.argv.slice(2);
const { plate, passes, where, gaps, leftOut } = await readSidecar(plateDir);
console.log(`${plate.file}: ${plate.widthPx} x ${plate.heightPx} px, SHA-256 ${plate.sha256}`);
console.log(where.known ? `north of the body: ${where.axisDeg.toFixed(1)}° from up` : `place unknown: ${where.detail}`);
for (const { name, placed, widthPx, heightPx, frames } of passes) {
  if (!placed) {
    console.log(`${name}: not in the plate`);
    continue;
  }
  const sharpest = frames.reduce((best, frame) => (frame.sharpness > best.sharpness ? frame : best));
  // A pose takes pixels of the frame to pixels of the plate; whole numbers are centres of pixels.
  const { xx, xy, yx, yy, tx, ty } = sharpest.pose;
  const [x, y] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  const middle = [xx * x + xy * y + tx, yx * x + yy * y + ty].map((px) => px.toFixed(1)).join(', ');
  console.log(`${name}: ${frames.length} frames; the middle of ${sharpest.file} lies at ${middle}`);
}
for (const gap of gaps) console.log(`missing: ${gap.where}`);
for (const { item, reason } of leftOut) console.log(`left out: ${item} (${reason})`);
