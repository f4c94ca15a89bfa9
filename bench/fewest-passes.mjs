import { drift, ephemeris, limbRadiusArcsec, standardAir, throughAir } from '../packages/core/dist/index.js';

/** Steps in which a frame is searched for its edge, arcseconds. */
const STEP = 0.5;
/** Starts that are tried, seconds apart. */
const START_S = 300;
const DEG = Math.PI / 180;
/** Sky beyond the limbs, radii of the disc. */
const SKY = 0.05;

/**
 * The fewest passes that cover the disc across the drift with the plan's overlap, sky and pointing error within a window, found
 * without the planner: from every start, from either end of the disc, passes are laid one after the other, each as far on as
 * it may go, which nothing beats on a line; where the drift turns much from pass to pass, another order may take one fewer. A
 * pass shows ground that crosses half of the frame's length at least. The head keeps the frame's angle to the vertical; paths
 * do not bend, and the air does not change within the window.
 */
export function fewestPasses(options, shots, { start, end }) {
  const { pointingErrorArcsec: error, overlap, rollDeg, reaimS } = options;
  const { widthPx, heightPx, scaleArcsecPerPx } = shots.camera;
  const [width, height] = [widthPx * scaleArcsecPerPx, heightPx * scaleArcsecPerPx];
  const sky = skyOver(options);
  const [from, to] = [Date.parse(start.utc), Date.parse(end.utc)];
  let fewest = Number.POSITIVE_INFINITY;
  for (let at = from; at < to; at += 1000 * START_S) {
    for (const side of [1, -1]) {
      let [count, now] = [0, at];
      let [roll, shownTo, target, acrossBefore] = [null, 0, 0, 0];
      while (count < fewest) {
        let here = sky(now);
        const lasts = lastingS(here, roll, width, height, error, rollDeg);
        here = sky(now + 500 * lasts);
        if (now + 1000 * lasts > to) break;
        roll ??= angleOf(here, rollDeg, width, height) - here.zenith;
        const turn = here.way - (here.zenith + roll);
        if (count === 0) [shownTo, target] = side > 0 ? [here.low, here.high] : [-here.high, -here.low];
        const isHeight = height * Math.abs(Math.cos(turn)) >= width * Math.abs(Math.sin(turn));
        const sure = 2 * (shownHalf(width, height, turn) - error);
        const before = shownTo;
        const across = isHeight ? height : width;
        shownTo += sure - (count === 0 ? 0 : overlap * Math.max(across, acrossBefore));
        acrossBefore = across;
        count++;
        if (shownTo >= target) {
          fewest = count;
          break;
        }
        if (shownTo <= before) break;
        now += 1000 * (lasts + reaimS);
      }
    }
  }
  return fewest;
}

/** Seconds that a pass lasts: until the disc has crossed the frame, with room for the aim's error. */
function lastingS(here, roll, width, height, error, rollDeg) {
  const turn = here.way - (roll === null ? angleOf(here, rollDeg, width, height) : here.zenith + roll);
  const reach = width * Math.abs(Math.cos(turn)) + height * Math.abs(Math.sin(turn));
  return (2 * here.radius * (1 + SKY) + reach + 2 * error) / here.speed;
}

/** Angle from west to north of the frame's rows: as asked for, or with its longer side along the drift. */
function angleOf(here, rollDeg, width, height) {
  if (rollDeg !== undefined) return rollDeg * DEG;
  return width >= height ? here.way : here.way + Math.PI / 2;
}

/** What the sky does at a moment, to the minute; angles from west to north in radians, lengths in arcseconds. */
function skyOver({ site }) {
  const air = standardAir(site.heightM);
  const known = new Map();
  return (atMs) => {
    const minute = Math.round(atMs / 60_000);
    if (!known.has(minute)) known.set(minute, lookUp(new Date(minute * 60_000), site, air));
    return known.get(minute);
  };
}

function lookUp(date, site, air) {
  const body = ephemeris('Moon', date, site, air);
  const { westArcsecPerS: west, northArcsecPerS: north, speedArcsecPerS: speed } = drift('Moon', date, site, air);
  const radius = limbRadiusArcsec(body.frame);
  const way = Math.atan2(north, west);
  const limb = Array.from({ length: 90 }, (_, k) => {
    const place = { xArcsec: radius * Math.cos(4 * k * DEG), yArcsec: radius * Math.sin(4 * k * DEG) };
    const seen = throughAir(body, air, place);
    return seen.yArcsec * Math.cos(way) - seen.xArcsec * Math.sin(way);
  });
  const [low, high] = [Math.min(...limb) - SKY * radius, Math.max(...limb) + SKY * radius];
  return { way, speed, radius, low, high, zenith: body.parallacticAngleDeg * DEG };
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
