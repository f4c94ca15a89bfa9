import { expect, test } from 'vitest';
import type { SkyWindow } from '../sky/windows.js';
import { plan } from './plan.js';
import { type PlanOptions, rigOf } from './plan-options.js';
import { filledWindows, fitText } from './window-fit.js';

const options: PlanOptions = {
  site: { latitudeDeg: 46.6, longitudeDeg: 8, heightM: 1034 },
  optics: { focalLengthMm: 2000 },
  sensor: { widthPx: 2048, heightPx: 1080, pitchUm: 5.5 },
  from: new Date('2031-03-01T00:00:00Z'),
  to: new Date('2031-03-31T00:00:00Z'),
  wish: { feature: { name: 'Copernicus' } },
};

test('every window says whether its passes fit in, and what it has to spare or lacks', () => {
  const { windows, shots } = plan(options);
  expect(windows.map(({ reasons }) => reasons.slice(-2))).toEqual([
    ['lasts 307 min', '5 passes in 23 min, 284 min to spare'],
    ['lasts 17 min', expect.stringMatching(/^too short by [67] min for 5 passes in 23 min$/)],
  ]);
  const [{ fit, start, end } = windows[0]!, short] = windows;
  expect(fit).toMatchObject({ passes: 5, takesS: shots!.totalS });
  const lastsS = (Date.parse(end.utc) - Date.parse(start.utc)) / 1000;
  expect(Math.abs(fit!.spareS - (lastsS - shots!.totalS))).toBeLessThanOrEqual(2);
  // It is told as too short exactly when choosing it gives no passes.
  expect(short!.fit!.spareS).toBeLessThan(0);
  expect(plan({ ...options, window: 2 })).toMatchObject({ feasible: false, neededPasses: short!.fit!.passes });
});

test('a window that is too short comes after those that are not, however high the Moon stands in it', () => {
  const at = (start: string, end: string, score: number): SkyWindow => {
    const [from, to] = [new Date(`2031-03-${start}Z`), new Date(`2031-03-${end}Z`)];
    return { start: from, end: to, best: from, score, reasons: [] };
  };
  const found = [at('03T19:00', '03T19:10', 3), at('02T19:00', '02T20:00', 2), at('01T19:00', '01T20:00', 1)];
  const filled = filledWindows(rigOf(options), found);
  expect(filled.map(({ window }) => window.score)).toEqual([2, 1, 3]);
  expect(filled.map(({ fit }) => fit!.spareS < 0)).toEqual([false, false, true]);
  // Aims that are too rough for any number of passes: nothing is said of how they fit.
  const rough = filledWindows(rigOf({ ...options, pointingErrorArcsec: 300 }), found);
  expect(rough.map(({ fit, window }) => [fit, window.score])).toEqual([
    [null, 3],
    [null, 2],
    [null, 1],
  ]);
});

test('figures in words', () => {
  expect(fitText({ passes: 1, takesS: 100, spareS: 0 })).toBe('1 pass in 100 s, 0 s to spare');
  expect(fitText({ passes: 3, takesS: 660, spareS: -90 })).toBe('too short by 90 s for 3 passes in 11 min');
});
