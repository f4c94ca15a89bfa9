import type { Capture, Pass } from '../capture/pass.js';

/** Share of a long pass that is looked at, and how many frames at least (the tracker tells bumps from 24 on) and at most. */
const SHARE = 0.12;
const LEAST_FRAMES = 26;
const MOST_FRAMES = 32;

/**
 * The capture with one frame in so many of each pass, from one end to the other: few enough to be quick, near enough to show
 * common ground, and evenly spaced, so that the way of the body stays even.
 */
export function chooseFrames(capture: Capture): Capture {
  return { ...capture, passes: capture.passes.map(thinned) };
}

function thinned(pass: Pass): Pass {
  const last = pass.frames.length - 1;
  const wanted = Math.min(MOST_FRAMES, Math.max(LEAST_FRAMES, Math.round(SHARE * pass.frames.length)));
  const stride = Math.max(1, Math.floor(last / (wanted - 1)));
  const first = Math.floor((last % stride) / 2);
  return { ...pass, frames: pass.frames.filter((_, i) => i >= first && (i - first) % stride === 0) };
}
