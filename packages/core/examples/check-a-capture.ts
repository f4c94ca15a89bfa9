// Is the whole disc there, sharp and unclipped? Arguments: [CAPTURE]. Ends with 4 when something has to be shot again.
import { checkCapture } from '@plenilune/core';

const [captureDir = 'night'] = process.argv.slice(2);
const found = await checkCapture(captureDir, {
  // Told at once what passes there are; the look at their pictures takes longer.
  onListed: ({ passes }) => {
    for (const { name, frames, widthPx, heightPx } of passes) {
      console.log(`${name}: ${frames} frames of ${widthPx} x ${heightPx} px`);
    }
  },
});
for (const { item, reason, detail } of found.leftOut) console.log(`left out: ${item} (${reason}): ${detail}`);
for (const { kind, detail, advice } of found.look?.findings ?? []) console.log(`${kind}: ${detail} ${advice}`);
if (found.timeLeft)
  console.log(`The body stays above ${found.timeLeft.altitudeDeg}° for ${found.timeLeft.minutes} min`);
console.log(found.complete ? 'All is there.' : 'Something has to be shot again.');
process.exitCode = found.complete ? 0 : 4;
