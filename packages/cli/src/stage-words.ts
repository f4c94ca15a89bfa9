import type { ProgressUnit } from '@plenilune/core';
import { printable } from './style.js';

/** What a stage is called, its subject put in where there is one. */
export function stageWords({ stage, subject }: { readonly stage: string; readonly subject?: string }): string {
  const words = WORDS[stage] ?? stage;
  if (subject === undefined) return words;
  return words.includes('*') ? words.replace('*', () => printable(subject)) : `${words} ${printable(subject)}`;
}

/** The stages of the library in plain words; a star stands for the subject. */
const WORDS: Readonly<Record<string, string>> = {
  hash: 'Reading the files',
  calibration: 'Combining the * frames',
  clip: 'Decoding',
  grade: 'Grading',
  views: 'Looking for jumps in',
  detail: 'Finding detail in',
  pairs: 'Following the drift of',
  track: 'Solving the drift',
  seeing: 'Measuring the air in',
  place: 'Placing the passes',
  light: 'Matching the light',
  'fine-pattern': 'Finding dust shadows',
  transients: 'Looking for birds and trails in',
  strip: 'Stacking',
  blend: 'Joining the strips',
  where: 'Finding where it lies',
  write: 'Writing',
  report: 'Writing the report',
  scene: 'Drawing the scene',
  frames: 'Recording the frames',
  publish: 'Writing the pictures',
  verify: 'Comparing the files',
};

/** Units that are not told as they are counted, with their size. */
const SCALED: Readonly<Partial<Record<ProgressUnit, readonly [size: number, name: string]>>> = {
  bytes: [1e6, 'MB'],
  pixels: [1e6, 'Mpx'],
};

/** "7 of 12 frames"; parts of a unit do not count. */
export function amountWords(done: number, total: number, unit: ProgressUnit): string {
  const [size, name] = SCALED[unit] ?? [1, unit];
  const least = size > 1 && total < 10 * size ? 1 : 0;
  const figure = (value: number): string => (size === 1 ? String(Math.floor(value)) : (value / size).toFixed(least));
  return `${figure(done)} of ${figure(total)} ${total === size ? name.replace(/s$/, '') : name}`;
}

/** "3.1 frames/s", or "3.1/s" where room is short; nothing for steps, of which none is like another. */
export function rateWords(perSecond: number, unit: ProgressUnit, isShort = false): string {
  if (unit === 'steps') return '';
  const [size, name] = SCALED[unit] ?? [1, unit];
  const rate = perSecond / size;
  const figure = rate < 9.95 ? rate.toFixed(rate < 0.095 ? 2 : 1) : String(Math.round(rate));
  return `${figure}${isShort && size === 1 ? '' : ` ${name}`}/s`;
}

/** "40 s", "3 min 20 s", "1 h 5 min": the more the coarser, so that it can be read while it runs down. */
export function leftWords(ms: number): string {
  const s = Math.ceil(ms / 1000);
  if (s < 10) return `${s} s`;
  if (s <= 60) return `${5 * Math.ceil(s / 5)} s`;
  const tens = 10 * Math.ceil(s / 10);
  if (tens < 600) return `${Math.floor(tens / 60)} min${tens % 60 === 0 ? '' : ` ${tens % 60} s`}`;
  const min = Math.ceil(s / 60);
  if (min < 60) return `${min} min`;
  const fives = 5 * Math.ceil(min / 5);
  return `${Math.floor(fives / 60)} h${fives % 60 === 0 ? '' : ` ${fives % 60} min`}`;
}

/** "6.6 s", "12 s", "3 min 12 s": time that has passed. */
export function passedWords(ms: number): string {
  if (ms < 9950) return `${(ms / 1000).toFixed(1)} s`;
  const s = Math.round(ms / 1000);
  if (s < 60) return `${s} s`;
  const min = Math.floor(s / 60);
  return min < 60 ? `${min} min ${s % 60} s` : `${Math.floor(min / 60)} h ${min % 60} min`;
}
