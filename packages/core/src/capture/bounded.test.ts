import { setTimeout } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { InterruptedError } from '../job/errors.js';
import { mapBounded } from './bounded.js';

test('keeps the order and the bound', async () => {
  let running = 0;
  let most = 0;
  const results = await mapBounded([5, 1, 4, 2, 3, 0], 3, async (ms) => {
    most = Math.max(most, ++running);
    await setTimeout(ms);
    running--;
    return ms * 10;
  });
  expect(results).toEqual([50, 10, 40, 20, 30, 0]);
  expect(most).toBe(3);
});

test('a failure stops new work and is thrown', async () => {
  const started: number[] = [];
  const run = mapBounded([0, 1, 2, 3, 4, 5], 2, async (item) => {
    started.push(item);
    await setTimeout(1);
    if (item === 1) throw new Error('item 1');
  });
  await expect(run).rejects.toThrow('item 1');
  expect(started.length).toBeLessThan(5);
});

test('an abort stops new work', async () => {
  const controller = new AbortController();
  const started: number[] = [];
  const work = async (item: number): Promise<void> => {
    started.push(item);
    if (item === 1) controller.abort();
  };
  await expect(mapBounded([0, 1, 2, 3], 1, work, controller.signal)).rejects.toThrow(InterruptedError);
  expect(started).toEqual([0, 1]);
});
