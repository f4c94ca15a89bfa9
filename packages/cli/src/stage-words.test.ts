import fc from 'fast-check';
import { expect, test } from 'vitest';
import { amountWords, leftWords, passedWords, rateWords, stageWords } from './stage-words.js';

test('stages have plain words; one that has none keeps its name; control characters stay out', () => {
  expect(stageWords({ stage: 'grade', subject: 'lower' })).toBe('Grading lower');
  expect(stageWords({ stage: 'calibration', subject: 'dark' })).toBe('Combining the dark frames');
  expect(stageWords({ stage: 'fine-pattern' })).toBe('Finding dust shadows');
  expect(stageWords({ stage: 'novel', subject: '$& *' })).toBe('novel $& *');
  expect(stageWords({ stage: 'strip', subject: 'up\u001b[2Jper' })).toBe('Stacking up?[2Jper');
});

test('amounts and rates name their unit', () => {
  expect(amountWords(7.8, 12, 'frames')).toBe('7 of 12 frames');
  expect(amountWords(0, 1, 'files')).toBe('0 of 1 file');
  expect(amountWords(2_460_000, 9_900_000, 'pixels')).toBe('2.5 of 9.9 Mpx');
  expect(amountWords(31.4e9, 48e9, 'bytes')).toBe('31400 of 48000 MB');
  expect(rateWords(3.14, 'frames')).toBe('3.1 frames/s');
  expect(rateWords(0.054, 'frames', true)).toBe('0.05/s');
  expect(rateWords(212.3e6, 'bytes', true)).toBe('212 MB/s');
  expect(rateWords(2, 'steps')).toBe('');
});

test.each([
  [0, '0 s'],
  [400, '1 s'],
  [9000, '9 s'],
  [11_000, '15 s'],
  [60_000, '60 s'],
  [61_000, '1 min 10 s'],
  [120_000, '2 min'],
  [595_000, '10 min'],
  [3_540_000, '59 min'],
  [3_541_000, '1 h'],
  [3_900_000, '1 h 5 min'],
])('%i ms left is told as %s', (ms, words) => expect(leftWords(ms)).toBe(words));

test('less time left is never told as more', () => {
  const inSeconds = (words: string): number =>
    [...words.matchAll(/(\d+) (h|min|s)/g)].reduce((sum, [, n, unit]) => {
      return sum + Number(n) * (unit === 'h' ? 3600 : unit === 'min' ? 60 : 1);
    }, 0);
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 5e7 }), fc.integer({ min: 0, max: 100_000 }), (ms, more) => {
      expect(inSeconds(leftWords(ms))).toBeLessThanOrEqual(inSeconds(leftWords(ms + more)));
      expect(inSeconds(leftWords(ms)) * 1000).toBeGreaterThanOrEqual(ms);
    }),
    { seed: 20260311, numRuns: 500 },
  );
});

test('time that has passed is told to a tenth while it is short', () => {
  expect([1234, 12_300, 192_000, 3_720_000].map(passedWords)).toEqual(['1.2 s', '12 s', '3 min 12 s', '1 h 2 min']);
});
