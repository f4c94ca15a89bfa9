import { mkdir, readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import { gaussianBlur } from '../src/compute/gaussian.js';
import type { Plane } from '../src/compute/image.js';

/** What one plate of recipes/score_reference.json looks like. */
export interface PlateCase {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Plate px per frame px. */
  readonly scale: number;
  readonly rotationDeg: number;
  readonly mirrored: boolean;
  readonly blurTruthPx: number;
  /** Shift of the scene's lower half along x, frame px. */
  readonly lowerShiftPx: number;
  readonly lowerGain: number;
  /** Share of the plate's width, from the left, whose alpha is 0. */
  readonly uncoveredShare: number;
}

/** The figures that the independent scorer printed, or its error. */
export interface Reference {
  readonly error?: string;
  readonly disc_px: number;
  readonly scale_vs_frame: number;
  readonly patches: number;
  readonly geom_rms_px: number;
  readonly geom_p95_px: number;
  readonly geom_max_px: number;
  readonly affine_rms_px: number;
  readonly covered: number;
  readonly lowfreq_log_ratio_std: number;
  readonly lowfreq_p99: number;
  readonly seam_grad_p999: number;
  readonly sharp_patches: number;
  readonly transfer: readonly number[];
  readonly coherence: readonly number[];
  readonly psnr_db: number;
}

/** recipes/score_reference.json. */
export interface ReferenceFile {
  /** The truth folder, from the repository root. */
  readonly truth: string;
  readonly scene: { readonly left: number; readonly top: number; readonly width: number; readonly height: number };
  readonly os: number;
  readonly D: number;
  readonly cases: Readonly<Record<string, { readonly plate: PlateCase; readonly reference: Reference }>>;
}

const ROOT = join(import.meta.dirname, '../../..');

/** The reference figures. */
export async function readReference(): Promise<ReferenceFile> {
  return JSON.parse(await readFile(join(import.meta.dirname, 'recipes/score_reference.json'), 'utf8')) as ReferenceFile;
}

/** Cuts the reference's scene out of the real truth, writes it to `dir` as a truth folder, and returns its light. */
export async function writeScene(file: ReferenceFile, dir: string): Promise<Plane> {
  const { width, height } = file.scene;
  await mkdir(dir, { recursive: true });
  const cut = sharp(join(ROOT, file.truth, 'truth.png'))
    .extract({ ...file.scene })
    .toColourspace('grey16');
  const raw = await cut.raw({ depth: 'ushort' }).toBuffer();
  const values = new Uint16Array(raw.buffer, raw.byteOffset, width * height);
  const picture = sharp(values, { raw: { width, height, channels: 1 } }).toColourspace('grey16');
  await picture.png().toFile(join(dir, 'truth.png'));
  await writeFile(join(dir, 'truth.json'), JSON.stringify({ os: file.os, D: file.D }));
  return { width, height, data: Float32Array.from(values, (v) => (v / 65535) * 1.5) };
}

/** Draws a plate of the scene as recipes/score_reference.py does, as a 16-bit PNG with alpha. */
export async function writePlate(path: string, scene: Plane, os: number, c: PlateCase): Promise<void> {
  const { widthPx: width, heightPx: height } = c;
  const blurred = gaussianBlur(scene, c.blurTruthPx);
  const k = os / c.scale;
  const cos = k * Math.cos((c.rotationDeg * Math.PI) / 180);
  const sin = k * Math.sin((c.rotationDeg * Math.PI) / 180);
  const pixels = new Uint16Array(width * height * 4);
  for (let py = 0; py < height; py++) {
    for (let px = 0; px < width; px++) {
      const u = (px - (width - 1) / 2) * (c.mirrored ? -1 : 1);
      const v = py - (height - 1) / 2;
      const x = (scene.width - 1) / 2 + cos * u - sin * v;
      const y = (scene.height - 1) / 2 + sin * u + cos * v;
      const lower = y > (scene.height - 1) / 2;
      const wobbleX = 0.5 * Math.sin(2 * Math.PI * (y / 310 + x / 900));
      const wobbleY = 0.5 * Math.sin(2 * Math.PI * (x / 270 - y / 800));
      const light = bilinear(blurred, x + wobbleX + (lower ? c.lowerShiftPx * os : 0), y + wobbleY);
      const value = encode(0.01 + 0.6 * light * (lower ? c.lowerGain : 1) + 0.01 * noise(px, py));
      pixels.fill(value, 4 * (py * width + px), 4 * (py * width + px) + 3);
      pixels[4 * (py * width + px) + 3] = px < c.uncoveredShare * width ? 0 : 65535;
    }
  }
  await sharp(pixels, { raw: { width, height, channels: 4 } })
    .toColourspace('rgb16')
    .png()
    .toFile(path);
}

function encode(light: number): number {
  const f = Math.max(0, Math.min(1, light));
  return Math.round(65535 * (f <= 0.0031308 ? f * 12.92 : 1.055 * f ** (1 / 2.4) - 0.055));
}

/** A hash of the pixel's place, −0.5 to 0.5. */
function noise(x: number, y: number): number {
  let h = (Math.imul(x, 374761393) + Math.imul(y, 668265263)) | 0;
  h ^= h >>> 13;
  h = Math.imul(h, 1274126177);
  h ^= h >>> 16;
  return (h >>> 0) / 4294967296 - 0.5;
}

function bilinear({ width, height, data }: Plane, x: number, y: number): number {
  const at = (i: number, j: number): number => (i < 0 || j < 0 || i >= width || j >= height ? 0 : data[j * width + i]!);
  const cx = Math.min(Math.max(x, -1), width - 0.001);
  const cy = Math.min(Math.max(y, -1), height - 0.001);
  const i = Math.floor(cx);
  const j = Math.floor(cy);
  const u = cx - i;
  const v = cy - j;
  return (at(i, j) * (1 - u) + at(i + 1, j) * u) * (1 - v) + (at(i, j + 1) * (1 - u) + at(i + 1, j + 1) * u) * v;
}
