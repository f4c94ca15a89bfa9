import fc from 'fast-check';
import { expect, test } from 'vitest';
import { createTimeLeft } from './time-left.js';

const SEED = 20260311;

test('a steady rate is told, and the time left falls with the clock to 0', () => {
  const left = createTimeLeft(100, 0);
  let before = Number.POSITIVE_INFINITY;
  for (let done = 1; done <= 100; done++) {
    left.step(done, 500 * done);
    // Looked at between the steps, too, as a terminal does.
    for (const nowMs of [500 * done, 500 * done + 200, 500 * done + 400]) {
      const leftMs = left.leftMs(nowMs);
      if (leftMs === undefined) continue;
      expect(leftMs).toBeLessThanOrEqual(before);
      expect(Math.abs(leftMs - Math.max(0, 50_000 - nowMs))).toBeLessThan(1);
      before = leftMs;
    }
    if (done >= 10) expect(left.rate(500 * done)).toBeCloseTo(2, 9);
  }
  expect(before).toBe(0);
});

test('nothing is said in the first seconds, nor from the first steps alone', () => {
  const quick = createTimeLeft(1000, 0);
  for (let done = 1; done <= 29; done++) {
    quick.step(done, 100 * done);
    expect([quick.rate(100 * done), quick.leftMs(100 * done)]).toEqual([undefined, undefined]);
  }
  quick.step(30, 3000);
  expect(quick.leftMs(3000)).toBeCloseTo(97_000, 6);
  const slow = createTimeLeft(10, 0);
  slow.step(1, 20_000);
  slow.step(2, 40_000);
  expect(slow.leftMs(40_000)).toBeUndefined();
  slow.step(3, 60_000);
  expect(slow.leftMs(60_000)).toBeCloseTo(140_000, 6);
});

test('steps that come in pairs, as from two threads, do not make it jump', () => {
  const left = createTimeLeft(200, 0);
  let last: number | undefined;
  for (let nowMs = 200; nowMs < 99_000; nowMs += 200) {
    if (nowMs % 1000 === 0) left.step((2 * nowMs) / 1000 - 1, nowMs);
    if (nowMs % 1000 === 0) left.step((2 * nowMs) / 1000, nowMs);
    const leftMs = left.leftMs(nowMs);
    // Less than half of the second between pairs.
    if (leftMs !== undefined && last !== undefined) expect(Math.abs(leftMs - (last - 200))).toBeLessThan(500);
    last = leftMs ?? last;
  }
  expect(last).toBeLessThan(2500);
});

test('work that stands still makes the time left grow, and the rate fall', () => {
  const left = createTimeLeft(100, 0);
  for (let done = 1; done <= 20; done++) left.step(done, 1000 * done);
  const before = { leftMs: left.leftMs(20_000)!, rate: left.rate(20_000)! };
  let now = before.leftMs;
  for (let nowMs = 20_200; nowMs <= 60_000; nowMs += 200) now = left.leftMs(nowMs)!;
  expect(now).toBeGreaterThan(before.leftMs);
  expect(left.rate(60_000)).toBeLessThan(before.rate / 2);
});

test('whatever comes, it is undefined or finite and not negative, and 0 once all is done', () => {
  const steps = fc.array(
    fc.record({ units: fc.double({ min: 0, max: 50, noNaN: true }), ms: fc.integer({ min: 0, max: 60_000 }) }),
    { minLength: 1, maxLength: 60 },
  );
  fc.assert(
    fc.property(steps, fc.integer({ min: 0, max: 1e9 }), (all, startedMs) => {
      const total = all.reduce((sum, { units }) => sum + units, 0);
      const left = createTimeLeft(total, startedMs);
      let [done, nowMs] = [0, startedMs];
      for (const { units, ms } of all) {
        done += units;
        nowMs += ms;
        left.step(done, nowMs);
        for (const later of [0, 1, 1000, 1e7]) {
          const leftMs = left.leftMs(nowMs + later);
          const rate = left.rate(nowMs + later);
          if (leftMs !== undefined) expect(Number.isFinite(leftMs) && leftMs >= 0).toBe(true);
          if (rate !== undefined) expect(Number.isFinite(rate) && rate >= 0).toBe(true);
        }
      }
      expect(left.leftMs(nowMs)).toBe(0);
    }),
    { seed: SEED, numRuns: 300 },
  );
});

test('once the rate stays as it is, what is said comes close to the truth', () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.2, max: 50, noNaN: true }),
      fc.double({ min: 0.2, max: 50, noNaN: true }),
      (first, second) => {
        // 30 s at one rate, then 120 s at another, of which all but the last 20 s are let pass.
        const total = 30 * first + 120 * second;
        const left = createTimeLeft(total, 0);
        for (let s = 1; s <= 130; s++) {
          left.step(s <= 30 ? first * s : 30 * first + second * (s - 30), 1000 * s);
          left.leftMs(1000 * s);
        }
        const truthMs = 20_000;
        // A third of what is true: rates up to 250 times apart weigh on for a while.
        if (second > first) expect(left.leftMs(130_000)!).toBeLessThan(1.34 * truthMs);
        else if (first < 4 * second) expect(left.leftMs(130_000)!).toBeGreaterThan(0.66 * truthMs);
      },
    ),
    { seed: SEED, numRuns: 200 },
  );
});
