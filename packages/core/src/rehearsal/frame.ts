import type { Random } from '../compute/random.js';
import { type Intruder, intrusionAt } from './intruders.js';
import type { TruePose } from './poses.js';
import type { Scene } from './scene.js';
import { type WarpField, warpAt } from './seeing.js';
import type { Sensor } from './sensor.js';
import type { RehearsalSettings } from './settings.js';
import { cutBlurred, sampleCubic, type Window } from './window.js';

/** What all frames of a rehearsal share. */
export interface Studio {
  readonly settings: RehearsalSettings;
  readonly scene: Scene;
  /** Truth px per frame px. */
  readonly oversampling: number;
  /** Where the poses count from, truth px. */
  readonly captureCentre: readonly [number, number];
  readonly sensor: Sensor;
  /** The sensor's 65536 linear levels through the sRGB curve, in the files' own depth. */
  readonly encoding: Uint8Array | Uint16Array;
  /** Standard normal deviates to pick from. */
  readonly deviates: Float32Array;
}

const NO_INTRUSION = { through: 1, added: 0 };

/** Spacing of the lattice between whose points a warp is taken as linear, frame px. */
const LATTICE_PX = 8;

/**
 * Records one frame: sRGB(quantised(flat * (gain * blur(scene at pose + warp) + sky) + noise)), interleaved red, green,
 * blue. A pixel at p shows the ground at pose(p + warp(p)). Quantised linearly to 16 bits, clipped at both ends.
 */
export function recordFrame(
  studio: Studio,
  pose: TruePose,
  warp: WarpField | undefined,
  noise: Random,
  intruders: readonly Intruder[],
): Uint8Array | Uint16Array {
  const { settings, scene, oversampling: os, sensor, encoding, deviates } = studio;
  const { frameWidthPx: width, frameHeightPx: height, fullWellElectrons } = settings;
  const angle = (pose.theta_deg * Math.PI) / 180;
  const cos = Math.cos(angle) * os;
  const sin = Math.sin(angle) * os;
  const originX = pose.cx * os + studio.captureCentre[0];
  const originY = pose.cy * os + studio.captureCentre[1];
  const spread = ((warp === undefined ? 0 : 1.5 * largest(warp)) + settings.dispersionPx / 2) * os;
  const window = cutBlurred(
    scene,
    boundsOf(width, height, cos, sin, pose.squeeze, originX, originY, spread),
    pose.sigma * os,
  );
  const apart = settings.dispersionPx > 0 ? channelShifts(settings) : undefined;
  const readVariance = fullWellElectrons > 0 ? (settings.readNoiseElectrons / fullWellElectrons) ** 2 : 0;
  const shot = fullWellElectrons > 0 ? 1 / fullWellElectrons : 0;
  const noisy = fullWellElectrons > 0;
  const columns = Math.ceil(width / LATTICE_PX) + 1;
  const out = settings.bits === 8 ? new Uint8Array(width * height * 3) : new Uint16Array(width * height * 3);
  const hot = [...new Map(sensor.hot.map((h) => [h.pixel * 3 + h.channel, h.level]))].sort((a, b) => a[0] - b[0]);
  let nextHot = 0;
  const draws = new Float64Array(3 * width);
  let band = -1;
  let above = new Float32Array(0);
  let below = new Float32Array(0);
  for (let y = 0; y < height; y++) {
    if (warp !== undefined && Math.floor(y / LATTICE_PX) !== band) {
      above = band < 0 ? latticeRow(warp, 0, columns) : below;
      band++;
      below = latticeRow(warp, band + 1, columns);
    }
    const down = (y % LATTICE_PX) / LATTICE_PX;
    if (noisy) noise.uniforms(draws);
    for (let x = 0; x < width; x++) {
      let px = x - (width - 1) / 2;
      let py = y - (height - 1) / 2;
      if (warp !== undefined) {
        const k = Math.floor(x / LATTICE_PX) * 2;
        const across = (x % LATTICE_PX) / LATTICE_PX;
        const ax = above[k]! + (above[k + 2]! - above[k]!) * across;
        const ay = above[k + 1]! + (above[k + 3]! - above[k + 1]!) * across;
        px += ax + (below[k]! + (below[k + 2]! - below[k]!) * across - ax) * down;
        py += ay + (below[k + 1]! + (below[k + 3]! - below[k + 1]!) * across - ay) * down;
      }
      const tx = px * cos - py * sin + originX;
      const ty = (px * sin + py * cos) * pose.squeeze + originY;
      let light = sampleCubic(window, tx, ty);
      const warmth = light > 0 ? warmthAt(scene, tx, ty) : 0;
      const i = y * width + x;
      const flat = sensor.flat[i]! / 65535;
      const { through, added } = intruders.length > 0 ? intrusionAt(intruders, x, y) : NO_INTRUSION;
      for (let channel = 0; channel < 3; channel++) {
        if (apart !== undefined) {
          const [ax, ay] = [px - apart[channel]![0], py - apart[channel]![1]];
          light = sampleCubic(window, ax * cos - ay * sin + originX, (ax * sin + ay * cos) * pose.squeeze + originY);
        }
        let value = flat * (pose.gain * light * through * (1 + warmth * (1 - channel)) + pose.sky + added);
        if (noisy) {
          const pick = Math.floor(draws[3 * x + channel]! * deviates.length);
          value += Math.sqrt(value * shot + readVariance) * deviates[pick]!;
        }
        if (nextHot < hot.length && hot[nextHot]![0] === i * 3 + channel) value += hot[nextHot++]![1];
        out[i * 3 + channel] = encoding[Math.min(65535, Math.max(0, Math.round(value * 65535)))]!;
      }
    }
  }
  return out;
}

/** Where the air shows red, green and blue against where green alone would be, frame px. */
export function channelShifts({ dispersionPx, zenithDeg }: RehearsalSettings): (readonly [number, number])[] {
  const angle = (zenithDeg * Math.PI) / 180;
  return [-0.5, 0, 0.5].map((share) => [
    share * dispersionPx * Math.cos(angle),
    -share * dispersionPx * Math.sin(angle),
  ]);
}

/** The sRGB curve (IEC 61966-2-1) at the 65536 linear levels, rounded to the depth of the files. */
export function encodingTable(bits: 8 | 16): Uint8Array | Uint16Array {
  const top = bits === 8 ? 255 : 65535;
  const table = bits === 8 ? new Uint8Array(65536) : new Uint16Array(65536);
  for (let i = 0; i < 65536; i++) {
    const v = i / 65535;
    table[i] = Math.round(top * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055));
  }
  return table;
}

/** A table of standard normal deviates with exactly zero mean and unit variance. */
export function normalDeviates(random: Random): Float32Array {
  const half = Float64Array.from({ length: 32768 }, () => random.normal());
  const rms = Math.sqrt(half.reduce((sum, v) => sum + v * v, 0) / half.length);
  return Float32Array.from({ length: 65536 }, (_, i) => (i < 32768 ? half[i]! : -half[i - 32768]!) / rms);
}

function latticeRow(warp: WarpField, row: number, columns: number): Float32Array<ArrayBuffer> {
  const out = new Float32Array(2 * (columns + 1));
  for (let k = 0; k <= columns; k++) out.set(warpAt(warp, k * LATTICE_PX, row * LATTICE_PX), 2 * k);
  return out;
}

function largest(warp: WarpField): number {
  const most = (data: Float32Array): number => data.reduce((a, b) => Math.max(a, Math.abs(b)), 0);
  return Math.max(most(warp.dx), most(warp.dy));
}

function warmthAt(scene: Scene, x: number, y: number): number {
  const column = Math.min(scene.width - 1, Math.max(0, Math.round(x)));
  const row = Math.min(scene.height - 1, Math.max(0, Math.round(y)));
  return scene.warmth[row * scene.width + column]!;
}

function boundsOf(
  width: number,
  height: number,
  cos: number,
  sin: number,
  squeeze: number,
  originX: number,
  originY: number,
  spread: number,
): Omit<Window, 'data'> {
  const halfX = (Math.abs(cos) * width + Math.abs(sin) * height) / 2 + spread + 3;
  const halfY = ((Math.abs(sin) * width + Math.abs(cos) * height) / 2) * Math.max(1, squeeze) + spread + 3;
  const left = Math.floor(originX - halfX);
  const top = Math.floor(originY - halfY);
  return { left, top, width: Math.ceil(originX + halfX) - left + 1, height: Math.ceil(originY + halfY) - top + 1 };
}
