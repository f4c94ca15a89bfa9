import { NOBODY } from '../src/blend/seams.js';
import { createPlane } from '../src/compute/image.js';
import type { PlateSource } from '../src/plate/plate-source.js';
import type { Sidecar, SidecarFrame, SidecarPass } from '../src/plate/sidecar.js';
import type { ReportInput } from '../src/report/report-types.js';

/** A made-up body on a plate of any size that is nowhere in memory: rough ground, a smooth sky, an uncovered corner. */
export function madePlate(width: number, height: number, channels: 1 | 3 = 3): PlateSource {
  const radius = 0.45 * Math.min(width, height);
  return {
    width,
    height,
    channels,
    read: (box) => {
      const planes = Array.from({ length: channels }, () => new Float32Array(box.width * box.height));
      const cover = new Float32Array(box.width * box.height);
      for (let v = 0, i = 0; v < box.height; v++) {
        for (let u = 0; u < box.width; u++, i++) {
          const [x, y] = [u + box.x0, v + box.y0];
          if (x + y < 0.3 * width) continue;
          cover[i] = 1;
          const away = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / radius ** 2;
          const lit = away < 1 ? 0.06 + 0.4 * Math.sqrt(1 - away) : 0;
          const rough = 1 + WAVE[x % WAVE.length]! * WAVE[y % WAVE.length]! + 0.1 * (chance(x, y) - 0.5);
          for (let c = 0; c < channels; c++) planes[c]![i] = 0.004 + lit * rough * (1 + 0.02 * (1 - c));
        }
      }
      return {
        image: { width: box.width, height: box.height, planes },
        coverage: { width: box.width, height: box.height, data: cover },
      };
    },
  };
}

const WAVE = Float64Array.from({ length: 44 }, (_, k) => 0.5 * Math.sin((2 * Math.PI * k) / 44));

/** 0..1, the same for the same place. */
function chance(x: number, y: number): number {
  const h = Math.imul(Math.imul(x, 374761393) ^ Math.imul(y, 668265263), 1274126177);
  return ((h ^ (h >>> 15)) >>> 0) / 2 ** 32;
}

/** Names that would do harm if they were taken for anything but text. */
export const HOSTILE = '<img src=x onerror=alert(1)>.tif';
const BREAKOUT = '</script><script>alert(2)</script>"\'`&.tif';

/** A report's input about {@link madePlate}: two passes, one above the other, and one that was not placed. */
export function madeInput(source: PlateSource, file = 'lower/frame.tif'): ReportInput {
  const { width, height } = source;
  const passes = [passOf('lower', width, height, 0.42, file), passOf('upper', width, height, 0, `upper/${BREAKOUT}`)];
  const lost: SidecarPass = {
    ...passes[0]!,
    name: `haze ${HOSTILE}`,
    placed: false,
    placedBy: null,
    sharp: null,
    frames: [],
  };
  const sidecar: Sidecar = {
    format: 'plenilune-plate',
    version: 1,
    software: { name: '@plenilune/core', version: '0.0.0', code: 'c0de'.repeat(16) },
    plate: {
      ...{ file: 'plate.tif', sha256: 'a1'.repeat(32), widthPx: width, heightPx: height, bits: 16 },
      ...{
        encoding: 'sRGB',
        primaries: 'bt709',
        background: 'keep',
        levels: 1,
        alpha: 'coverage',
        covered: 0.955,
        bytes: 48_000_000,
        bigtiff: false,
      },
      ...{ clippedLow: 12, clippedHigh: 0 },
    },
    preview: { file: 'preview.jpg', sha256: 'b2'.repeat(32), widthPx: 1024, heightPx: 1024, gain: 1.4 },
    files: [],
    crops: [],
    limb: null,
    complete: false,
    where: { known: false, reason: 'no-site', detail: `give a site ${HOSTILE}` },
    gaps: [{ where: 'upper left, where the limb is cut off', box: { x: 0, y: 0, width: 100, height: 100 } }],
    capture: { name: 'A night over the harbour', synthetic: false, guide: null, calibration: [] },
    settings: { curve: 'auto' },
    notices: [{ item: HOSTILE, reason: 'odd-depth', detail: '8 bits where most have 16' }],
    passes: [...passes, lost],
    overlaps: [
      {
        ...{ fixed: 'lower', moving: 'upper', ties: 300, rmsPx: 0.31, correlation: 0.97, significance: 34 },
        ...{ tested: false, refused: null, detail: '' },
      },
    ],
    agreement: { edgeRmsPx: 0.27, loopRmsPx: 0, loops: 0, heldOutRmsPx: 0, chi2: 5, degreesOfFreedom: 4 },
    light: {
      ...{ referencePass: 'lower', residual: 0.0045, blendLevels: 6 },
      pattern: { radial: [0, 0, 0], nodes: [], halfWidth: 0.8, halfHeight: 0.6 },
      fine: { measured: true, deepest: 0.039, rms: 0.002 },
    },
    leftOut: [
      { item: 'lower/frame 07.tif', reason: 'blurred', detail: 'sharpness 0.41 of the mean, at least 0.70 expected' },
      { item: HOSTILE, reason: 'unreadable', detail: `<b>${BREAKOUT}</b>` },
      { item: `haze ${HOSTILE}`, reason: 'not-placed', detail: 'overlaps with no other pass' },
    ],
  };
  return {
    sidecar,
    sidecarFile: { file: 'plate.json', sha256: 'c3'.repeat(32) },
    source,
    frames: [
      { of: 14, lost: [{ index: 7, reason: 'blurred' }] },
      { of: 13, lost: [] },
      { of: 2, lost: [] },
    ],
    residuals: [residuals(width, height)],
    maps: maps(width, height),
    owners: owners(width, height),
    features: [
      { name: `Crater ${HOSTILE}`, x: 0.4 * width, y: 0.4 * height, kind: 'crater', lit: true },
      { name: 'Dark plain', x: 0.6 * width, y: 0.7 * height, kind: 'mare', lit: false },
    ],
  };
}

function passOf(name: string, width: number, height: number, top: number, file: string): SidecarPass {
  const [widthPx, heightPx] = [Math.round(0.6 * width), Math.round(0.56 * height)];
  const frames = Array.from({ length: 13 }, (_, k): SidecarFrame => {
    const index = name === 'lower' && k >= 7 ? k + 1 : k;
    const sharpness = 1 + 0.06 * Math.sin(2 * k);
    return {
      ...{ file: `${k}-${file}`, sha256: 'd4'.repeat(32), index, time: null, weight: 0.8, intruded: 0, sharpness },
      pose: { xx: 1, xy: 0.001, yx: -0.001, yy: 1, tx: (0.4 * width * index) / 13, ty: top * height + 3 * Math.sin(k) },
      ...{ offPathPx: 0.3 + 0.2 * Math.cos(k), gain: [1.002, 1.001, 0.999].map((g) => g + 0.001 * Math.sin(k)) },
      ...{ sky: [1e-4 * k, 2e-4, 3e-4], slopeX: [0, 0, 0], slopeY: [0, 0, 0], skyLevel: 0.007, brightLevel: 0.3 },
      ...{ noise: 3e-4, clipped: 0, bitsPerSample: 16, curve: 'srgb', notes: [] },
    };
  });
  return {
    ...{ name, widthPx, heightPx, channels: 3, timeCode: null, placed: true, placedBy: 'overlap', joinPx: 0.08 },
    sharp: { power: 4, trades: [{ power: 4, sharpness: 1.036, noise: 1.057, fidelity: 0.9999 }] },
    ...{ colour: null, defects: 12, frames },
    track: {
      ...{ rotationDegPerFrame: 0.0024, squeezePerFrame: 0, tiltPx: 1.3, warpPx: 0.5, bendPx: 0.43, pairs: 13 },
      ...{ pairResidualPx: 0.6, gaps: [{ after: file, before: `${file} 2`, lost: 2 }] },
    },
  };
}

function residuals(width: number, height: number) {
  return Array.from({ length: 300 }, (_, k) => ({
    x: width * (0.2 + 0.6 * chance(k, 1)),
    y: height * (0.43 + 0.12 * chance(k, 2)),
    dx: 0.8 * (chance(k, 3) - 0.5),
    dy: 0.8 * (chance(k, 4) - 0.5),
  }));
}

function maps(width: number, height: number): ReportInput['maps'] {
  const stepPx = 8 * Math.ceil(Math.max(width, height) / 3200);
  const size = [Math.ceil(width / stepPx), Math.ceil(height / stepPx)] as const;
  const coverage = createPlane(...size);
  const sharpness = createPlane(...size);
  for (let v = 0, i = 0; v < size[1]; v++) {
    for (let u = 0; u < size[0]; u++, i++) {
      if ((u + v) * stepPx < 0.3 * width) continue;
      coverage.data[i] = 1 + Math.round(12 * (1 - Math.abs((2 * u) / size[0] - 1)));
      sharpness.data[i] = 1 + 0.1 * Math.sin(u / 20) * Math.cos(v / 15);
    }
  }
  return { stepPx, coverage, sharpness };
}

function owners(width: number, height: number): ReportInput['owners'] {
  const box = { x0: 0, y0: 0, width: Math.ceil(width / 8), height: Math.ceil(height / 8) };
  const label = new Uint8Array(box.width * box.height);
  for (let v = 0, i = 0; v < box.height; v++) {
    for (let u = 0; u < box.width; u++, i++) {
      const border = box.height * (0.49 + 0.03 * Math.sin(u / 15));
      label[i] = 8 * (u + v) < 0.3 * width ? NOBODY : v < border ? 1 : 0;
    }
  }
  return { box, label };
}
