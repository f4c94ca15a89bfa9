import { InputError, InternalError, InterruptedError, OutputError, ResourceError, UsageError } from '@plenilune/core';
import { expect, test } from 'vitest';
import { describeFailure } from './exit-code.js';

test.each([
  [new UsageError('m'), 2, 'USAGE'],
  [new OutputError('OUTPUT_EXISTS', 'm'), 2, 'OUTPUT_EXISTS'],
  [new InputError('CAPTURE_EMPTY', 'm'), 3, 'CAPTURE_EMPTY'],
  [new InterruptedError('m'), 5, 'INTERRUPTED'],
  [new ResourceError('OUT_OF_MEMORY', 'm'), 6, 'OUT_OF_MEMORY'],
  [new InternalError('m'), 1, 'INTERNAL'],
  [new InternalError('m', {}, 'WORKER_LOST'), 1, 'WORKER_LOST'],
  [new TypeError('m'), 1, 'INTERNAL'],
])('%o', (error, exitCode, code) => {
  expect(describeFailure(error)).toEqual({ exitCode, code, message: 'm' });
});

test('a full disk is told from a fault of ours', () => {
  const error = new Error('ENOSPC: no space left on device, write');
  expect(describeFailure(error)).toEqual({ exitCode: 6, code: 'OUT_OF_SPACE', message: error.message });
  expect(describeFailure('thrown text')).toEqual({ exitCode: 1, code: 'INTERNAL', message: 'thrown text' });
});
