/** How fast work goes, and when it will be done. Times are ms of any clock that runs forward. */
export interface TimeLeft {
  /** Takes down that so much is done at that moment. */
  step(done: number, nowMs: number): void;
  /** Units a second, lately; undefined while it is too early to tell. */
  rate(nowMs: number): number | undefined;
  /** Time until all is done, 0 or more and finite; undefined while it is too early to tell. */
  leftMs(nowMs: number): number | undefined;
}

/** Before so much time and so many steps have passed nothing is said: the first steps are seldom like the others. */
const SILENT_MS = 3000;
const SILENT_STEPS = 3;
/** The rate is that of the last part of the time so far, and of some seconds at least. */
const LATELY_SHARE = 0.4;
const LATELY_LEAST_MS = 4000;
/** How quickly what is said follows what is found out. */
const FOLLOW_MS = 3000;

/**
 * Estimates the time left of work that counts up to `total` from an exponentially weighted mean of its rate. What it says
 * runs down with the clock and follows news slowly, so that it can be read.
 */
export function createTimeLeft(total: number, startedMs: number): TimeLeft {
  let [done, steps, lastMs] = [0, 0, startedMs];
  /** Weighted sums: units, the time between steps, and its square. */
  let [units, timeMs, squareMs] = [0, 0, 0];
  let said: { leftMs: number; atMs: number } | undefined;

  const tooEarly = (): boolean =>
    steps < SILENT_STEPS || lastMs - startedMs < SILENT_MS || !(units > 0) || !(timeMs > 0);
  /** The pause that a moment usually lies in: steps of several threads come in groups. */
  const usualStepMs = (): number => squareMs / timeMs;
  /** A step that is late makes all slower than the steps so far say. */
  const unitMs = (nowMs: number): number => (timeMs + Math.max(0, nowMs - lastMs - usualStepMs())) / units;
  const plainLeftMs = (nowMs: number): number => {
    const underWayMs = Math.min(Math.max(0, nowMs - lastMs), usualStepMs());
    return Math.max(0, (total - done) * unitMs(nowMs) - underWayMs);
  };

  return {
    step: (now, nowMs) => {
      const elapsedMs = Math.max(0, nowMs - lastMs);
      const kept = Math.exp(-elapsedMs / Math.max(LATELY_LEAST_MS, LATELY_SHARE * (nowMs - startedMs)));
      units = units * kept + Math.max(0, now - done);
      timeMs = timeMs * kept + elapsedMs;
      squareMs = squareMs * kept + elapsedMs ** 2;
      done = Math.min(total, Math.max(done, now));
      lastMs += elapsedMs;
      steps++;
    },
    rate: (nowMs) => (tooEarly() ? undefined : 1000 / unitMs(nowMs)),
    leftMs: (nowMs) => {
      if (done >= total) return 0;
      if (tooEarly()) return undefined;
      const plainMs = plainLeftMs(nowMs);
      said ??= { leftMs: plainMs, atMs: nowMs };
      const passedMs = Math.max(0, nowMs - said.atMs);
      const expectedMs = Math.max(0, said.leftMs - passedMs);
      const leftMs = expectedMs + (plainMs - expectedMs) * (1 - Math.exp(-passedMs / FOLLOW_MS));
      said = { leftMs, atMs: nowMs };
      return leftMs;
    },
  };
}
