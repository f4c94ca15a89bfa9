// When does the Moon stand as wished, and which passes cover it then? Arguments: [FOLDER of the sheet and the calendar]
import { join } from 'node:path';
import { plan, spanText, writePlanFiles } from '@plenilune/core';

const [outDir = '.'] = process.argv.slice(2);
const found = plan({
  site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034, timeZone: 'Europe/Zurich' },
  optics: { focalLengthMm: 3000, apertureMm: 250 },
  sensor: { widthPx: 4096, heightPx: 2160, pitchUm: 5.5 },
  from: new Date('2031-03-01'),
  to: new Date('2031-03-31'),
  wish: { feature: { name: 'Copernicus' } },
});
// Never point optics at or near the Sun without a certified full-aperture filter.
if (found.sun) console.log(found.sun.warning);
for (const { rank, start, end, reasons } of found.windows) {
  console.log(`${rank}. ${spanText(start, end)}: ${reasons.join(', ')}`);
}
if (!found.shots) console.log(`No passes: ${found.reason}`);
for (const { number, aim, start, driftS, longestExposureS } of found.shots?.passes ?? []) {
  const { altitudeDeg, azimuthDeg } = aim;
  console.log(
    `pass ${number} at ${start.utc}: altitude ${altitudeDeg.toFixed(2)}°, azimuth ${azimuthDeg.toFixed(2)}°,`,
  );
  console.log(`  ${driftS} s of drift, ${(1000 * longestExposureS).toFixed(1)} ms at most`);
}
const written = await writePlanFiles(found, {
  htmlPath: join(outDir, 'plan.html'),
  icsPath: join(outDir, 'plan.ics'),
});
for (const path of written) console.log(path);
