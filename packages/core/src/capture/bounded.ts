import { throwIfAborted } from '../job/errors.js';

/**
 * Applies `work` to every item with at most `limit` running at once; results keep the order of the items. The first
 * failure stops new work and is thrown once what is running has ended.
 */
export async function mapBounded<Item, Result>(
  items: readonly Item[],
  limit: number,
  work: (item: Item) => Promise<Result>,
  signal?: AbortSignal,
): Promise<Result[]> {
  const results = new Array<Result>(items.length);
  let next = 0;
  let failed = false;
  const run = async (): Promise<void> => {
    while (!failed && next < items.length) {
      const index = next++;
      try {
        throwIfAborted(signal);
        results[index] = await work(items[index]!);
      } catch (error) {
        failed = true;
        throw error;
      }
    }
  };
  const runs = await Promise.allSettled(Array.from({ length: Math.min(limit, items.length) }, run));
  for (const outcome of runs) if (outcome.status === 'rejected') throw outcome.reason;
  return results;
}
