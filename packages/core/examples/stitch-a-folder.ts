// Make a plate of a capture. Arguments: [CAPTURE] [FOLDER of the plate]
import { stitch } from '@plenilune/core';

const [captureDir = 'night', outDir = 'plates/night'] = process.argv.slice(2);
const plate = await stitch(captureDir, {
  outDir,
  onProgress: (event) => {
    if (event.kind === 'stage-end') console.error(`${event.stage}: ${Math.round(event.elapsedMs)} ms`);
  },
});
console.log(`${plate.platePath}: ${plate.widthPx} x ${plate.heightPx} px`);
for (const { name, used, of } of plate.passes) console.log(`${name}: ${used} of ${of} frames`);
for (const { where } of plate.gaps) console.log(`missing: ${where}`);
for (const { item, reason, detail } of plate.leftOut) console.log(`left out: ${item} (${reason}): ${detail}`);
