// Make a stock pack of a plate whose files are as they were stitched. Arguments: [FOLDER of the plate] [FOLDER to be made]
import { publish, verifyPlate } from '@plenilune/core';

const [plateDir = 'plates/night', toDir = 'packs/night'] = process.argv.slice(2);
const { checked, differences } = await verifyPlate(plateDir);
for (const { file, state } of differences) console.log(`${file} ${state === 'missing' ? 'is missing' : 'has changed'}`);
if (differences.length > 0) {
  process.exitCode = 3;
} else {
  console.log(`${checked} files are as the sidecar says`);
  const pack = await publish(plateDir, {
    toDir,
    maker: { creator: 'A. Author', licence: 'CC-BY-4.0', title: 'Waxing gibbous above the ridge' },
    sizesPx: [200],
    watermark: 'SAMPLE',
  });
  for (const { file, widthPx, heightPx } of pack.pictures) console.log(`${file}: ${widthPx} x ${heightPx} px`);
  console.log(`${pack.licence.name}; ${pack.keywords.join(', ')}`);
}
