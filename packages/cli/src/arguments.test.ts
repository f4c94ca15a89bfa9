import { expect, test } from 'vitest';
import { bytes, crop, number, size, wholeNumber, wholeNumbers } from './arguments.js';

test('arguments are read', () => {
  expect(wholeNumber(0)('0')).toBe(0);
  expect(wholeNumber(1)('12')).toBe(12);
  expect(number('-1.5')).toBe(-1.5);
  expect(size('960x640')).toEqual({ widthPx: 960, heightPx: 640 });
  expect(bytes('2GiB')).toBe(2 ** 31);
  expect(bytes('1.5 MB')).toBe(1_500_000);
  expect(wholeNumbers('1,3')).toEqual([1, 3]);
});

test.each([
  [wholeNumber(1), '0', 'Expected a whole number, 1 or more.'],
  [wholeNumber(0), '-1', 'Expected a whole number, 0 or more.'],
  [wholeNumber(0), '1e3', 'Expected a whole number, 0 or more.'],
  [wholeNumber(0), '', 'Expected a whole number, 0 or more.'],
  [wholeNumber(0), '99999999999999999999', 'Expected a whole number, 0 or more.'],
  [number, 'ten', 'Expected a number.'],
  [number, ' ', 'Expected a number.'],
  [bytes, '2', 'Expected an amount such as 2GiB or 512MiB.'],
  [bytes, '-1GiB', 'Expected an amount such as 2GiB or 512MiB.'],
  [size, '960', 'Expected a size such as 960x640.'],
  [wholeNumbers, '1,,2', 'Expected a whole number, 0 or more.'],
])('nonsense is refused: %#', (read, text, message) => {
  expect(() => read(text)).toThrow(message);
});

test('frames to be cut', () => {
  expect(crop('3840x2160')).toEqual([{ widthPx: 3840, heightPx: 2160 }]);
  const before = crop('10x20');
  expect(crop('30x40@5000,4200.5', before)).toEqual([
    ...before,
    { widthPx: 30, heightPx: 40, centre: { x: 5000, y: 4200.5 } },
  ]);
  for (const text of ['3840', '3840x', '3840x2160@1', 'x', '3840x2160@1,2,3'])
    expect(() => crop(text)).toThrow('3840x2160');
});
