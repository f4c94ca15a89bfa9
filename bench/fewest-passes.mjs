import { ephemeris, standardAir, throughAir } from '../packages/core/dist/index.js';

/** Steps in which a frame is searched for its edge, arcseconds. */
const STEP = 0.5;

/**
 * The fewest passes that cover the disc across the drift with the plan's overlap, sky and pointing error, found without the
 * planner's sums: passes are laid one after the other, each as far on as it may go, which no other order beats on a line. A
 * pass shows ground that crosses half of the frame's length at least. The drift here neither bends nor turns, and the air
 * does not change: a real night needs no fewer.
 */
export function fewestPasses({ site, pointingErrorArcsec: error, overlap }, { camera, disc, passes, margins }) {
  const middle = passes[Math.floor(passes.length / 2)];
  const { altitudeDeg, parallacticAngleDeg } = ephemeris('Moon', new Date(middle.middleMs), site);
  const turn = Math.atan2(-middle.yPxPerS, middle.xPxPerS);
  // The drift's direction from west to north.
  const way = turn + (middle.aim.frameAngleDeg * Math.PI) / 180;
  const limb = Array.from({ length: 720 }, (_, k) => {
    const [x, y] = [Math.cos((k * Math.PI) / 360), Math.sin((k * Math.PI) / 360)];
    const place = { xArcsec: disc.radiusArcsec * x, yArcsec: disc.radiusArcsec * y };
    const seen = throughAir({ altitudeDeg, parallacticAngleDeg }, standardAir(site.heightM), place);
    return seen.yArcsec * Math.cos(way) - seen.xArcsec * Math.sin(way);
  });
  const high = Math.max(...limb) + margins.skyArcsec;
  const [width, height] = [camera.widthPx, camera.heightPx].map((px) => px * camera.scaleArcsecPerPx);
  const side = height * Math.abs(Math.cos(turn)) >= width * Math.abs(Math.sin(turn)) ? height : width;
  // What a pass shows wherever its aim errs.
  const sure = 2 * (shownHalf(width, height, turn) - error);
  let [count, shownTo] = [1, Math.min(...limb) - margins.skyArcsec + sure];
  while (shownTo < high) {
    const step = sure - overlap * side;
    if (!(step > 0)) return Number.NaN;
    shownTo += step;
    count++;
  }
  return count;
}

/** Half the width across the drift over which ground crosses half of the longest way through a frame, turned by an angle. */
function shownHalf(width, height, turn) {
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const wayThrough = (across) => {
    // The line across + t along, in the frame's axes, clipped by its sides.
    let [from, to] = [-1e9, 1e9];
    for (const [at, slope, half] of [
      [-across * s, c, width / 2],
      [across * c, s, height / 2],
    ]) {
      if (Math.abs(slope) < 1e-12) {
        if (Math.abs(at) > half) return 0;
        continue;
      }
      const ends = [(-half - at) / slope, (half - at) / slope];
      from = Math.max(from, Math.min(...ends));
      to = Math.min(to, Math.max(...ends));
    }
    return Math.max(0, to - from);
  };
  const longest = wayThrough(0);
  let across = 0;
  while (wayThrough(across + STEP) >= longest / 2) across += STEP;
  return across + STEP;
}
