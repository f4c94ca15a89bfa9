import { expect, test } from 'vitest';
import { madeInput, madePlate } from '../../test/report-fixture.js';
import { headSection } from './head-section.js';

test('the head says that a plate was made of frames that a program drew, and says so of no other', () => {
  const input = madeInput(madePlate(64, 48));
  const headOf = (synthetic: boolean): string =>
    headSection({ ...input, sidecar: { ...input.sidecar, capture: { ...input.sidecar.capture, synthetic } } }).text;
  expect(headOf(true)).toContain('<strong>Synthetic.</strong> A program drew the frames of this plate');
  expect(headOf(false)).not.toMatch(/synthetic|program/i);
});
