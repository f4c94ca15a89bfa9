import { basename, dirname, join } from 'node:path';
import { sha256File } from '../capture/hash.js';
import type { Notice } from '../capture/pass.js';
import { withBackground } from './background.js';
import { cropNotices, cropOf, LARGEST_FLAT_PX, placeCrop } from './crop.js';
import { writePlateExr } from './exr.js';
import type { HashedFile } from './hashed-file.js';
import type { LimbEllipse } from './limb-ellipse.js';
import { findLimbModel, type LimbModel } from './limb-model.js';
import { inPrimaries } from './master-colour.js';
import { EXR_FILE, FLOAT_FILE, MATTE_FILE, type MasterSettings, ZOOM_FILE } from './masters-options.js';
import { writeMatte } from './matte.js';
import type { PlateSource } from './plate-source.js';
import { writePlatePng } from './png.js';
import { writePreview } from './preview.js';
import type { SidecarCrop, WrittenFiles } from './sidecar.js';
import { tellWriting, type Writing } from './tell-writing.js';
import { writePlateTiff } from './tiff.js';
import { writePlateFloatTiff } from './tiff-float.js';
import { coveredCells } from './widest-view.js';
import { writeZoomTiles } from './zoom-tiles.js';

/**
 * Writes all pictures of a plate, each whole or not at all: the master, the preview, and what else is asked for. `xmp` is the
 * packet that the master carries, `disc` the one that the plate's place on its body tells.
 */
export async function writePictures(
  paths: { readonly plate: string; readonly preview: string },
  plain: PlateSource,
  settings: MasterSettings,
  { xmp, disc }: { readonly xmp: string; readonly disc: LimbEllipse | null },
  writing: Writing,
): Promise<WrittenFiles> {
  const { onProgress: _, ...options } = writing;
  const outDir = dirname(paths.plate);
  const { colour, background } = settings;
  const limb = needsLimb(settings) ? findLimbModel(plain, disc) : null;
  const shown = withBackground(plain, background, limb);
  const source = inPrimaries(shown, colour.primaries);
  const hashed = async (path: string): Promise<HashedFile> => ({
    file: basename(path),
    sha256: await sha256File(path, options.signal),
  });
  const plate = await tellWriting(writing, paths.plate, source, (told) =>
    writePlateTiff(paths.plate, told, { colour, xmp, ...options }),
  );
  const preview = await tellWriting(writing, paths.preview, shown, (told) =>
    writePreview(paths.preview, told, { force: options.force }),
  );
  const written = {
    plate: { ...(await hashed(paths.plate)), ...plate },
    preview: { ...(await hashed(paths.preview)), ...preview },
  };
  const files: HashedFile[] = [written.plate, written.preview].map(({ file, sha256 }) => ({ file, sha256 }));
  for (const path of await writeOthers(outDir, source, plain, limb, settings, writing)) files.push(await hashed(path));
  const crops: SidecarCrop[] = [];
  const cropNotes: Notice[] = [];
  const cells = settings.crops.length > 0 ? coveredCells(plain) : null;
  for (const crop of settings.crops) {
    const path = join(outDir, crop.file);
    const place = placeCrop(plain, crop, limb?.ellipse ?? null, cells!);
    const part = cropOf(source, place);
    const pyramid = Math.max(crop.widthPx, crop.heightPx) > LARGEST_FLAT_PX;
    await tellWriting(writing, path, part, async (told) => {
      if (settings.cropFormat === 'png') await writePlatePng(path, told, { colour, ...options });
      else await writePlateTiff(path, told, { colour, pyramid, ...options });
    });
    crops.push({ file: crop.file, ...place });
    cropNotes.push(...cropNotices(crop.file, place, plain, crop.centre));
    files.push(await hashed(path));
  }
  if (settings.zoomTiles) {
    const path = join(outDir, ZOOM_FILE);
    const { tiles } = await tellWriting(writing, path, shown, (told) => writeZoomTiles(path, told, options));
    files.push(await hashed(path), ...tiles);
  }
  return {
    ...written,
    colour,
    background: limb ? background : 'keep',
    limb,
    crops,
    files,
    notices: [...noticesOf(settings, limb), ...cropNotes],
  };
}

function needsLimb({ background, matte, crops }: MasterSettings): boolean {
  return background !== 'keep' || matte || crops.some((crop) => crop.centre === undefined);
}

/** Masters that are wanted besides; gives their paths. */
async function writeOthers(
  outDir: string,
  source: PlateSource,
  size: { readonly width: number; readonly height: number },
  limb: LimbModel | null,
  { exr, floatTiff, matte, colour: { primaries } }: MasterSettings,
  writing: Writing,
): Promise<string[]> {
  const { onProgress: _, ...options } = writing;
  const paths: string[] = [];
  const at = (file: string): string => {
    paths.push(join(outDir, file));
    return paths.at(-1)!;
  };
  if (exr) {
    const path = at(EXR_FILE);
    await tellWriting(writing, path, source, (told) =>
      writePlateExr(path, told, { samples: exr, primaries, ...options }),
    );
  }
  if (floatTiff) {
    const path = at(FLOAT_FILE);
    await tellWriting(writing, path, source, (told) => writePlateFloatTiff(path, told, { primaries, ...options }));
  }
  if (matte && limb) await writeMatte(at(MATTE_FILE), size, limb.ellipse, limb.softness, options);
  return paths;
}

function noticesOf({ background, matte }: MasterSettings, limb: LimbModel | null): Notice[] {
  if (limb || (background === 'keep' && !matte)) return [];
  const lost = [...(background === 'keep' ? [] : ['the background is kept']), ...(matte ? ['there is no matte'] : [])];
  return [
    { item: 'plate', reason: 'no-limb', detail: `no lit limb is to be seen on the plate: ${lost.join(' and ')}` },
  ];
}
