// Make a small synthetic capture whose truth is known. Arguments: [FOLDER to be made]
import { rehearse, UsageError } from '@plenilune/core';

const [dir = 'rehearsal'] = process.argv.slice(2);
try {
  const made = await rehearse(dir, {
    seed: 7,
    discDiameterPx: 200,
    frameWidthPx: 220,
    frameHeightPx: 150,
    framesPerPass: 4,
  });
  for (const { name, frames } of made.passes) console.log(`${dir}/capture/${name}: ${frames} frames`);
  console.log(`${(100 * made.coveredShare).toFixed(1)} % of the lit ground are in some frame`);
} catch (error) {
  // Settings that cannot be honoured say what was given, what was expected, and what to do.
  if (!(error instanceof UsageError)) throw error;
  console.error(error.message);
  process.exitCode = 2;
}
