import { threadId } from 'node:worker_threads';
import { createTaskHandler, implement } from '../dist/compute/task.js';
import { InputError, UsageError } from '../dist/job/errors.js';

const tasks = {
  double: (value) => 2 * value,
  // Returns only once as many threads as asked have arrived: proves that the tasks ran at the same time.
  meet: ({ arrived, count }) => {
    Atomics.add(arrived, 0, 1);
    Atomics.notify(arrived, 0);
    for (let seen = Atomics.load(arrived, 0); seen < count; seen = Atomics.load(arrived, 0)) {
      Atomics.wait(arrived, 0, seen, 10_000);
    }
    return threadId;
  },
  fill: ({ pixels, from, to }) => void pixels.fill(from + 1, from, to),
  sum: (pixels) => pixels.reduce((sum, value) => sum + value, 0),
  wait: async ({ ms, value }) => {
    await new Promise((resolve) => setTimeout(resolve, ms));
    return value;
  },
  spin: (started) => {
    Atomics.store(started, 0, 1);
    Atomics.notify(started, 0);
    for (;;);
  },
  refuse: (kind) => {
    if (kind === 'input') throw new InputError('PASS_UNUSABLE', 'the pass "p1" has no frames');
    if (kind === 'usage') throw new UsageError('"radius" is -1; expected 0 or more');
    if (kind === 'space') throw Object.assign(new Error('ENOSPC: no space left on device, write'), { code: 'ENOSPC' });
    if (kind === 'memory') return new ArrayBuffer(2 ** 46).byteLength;
    throw new TypeError('x is not a function');
  },
  exit: (code) => process.exit(code),
  hoard: () => {
    const kept = [];
    for (;;) kept.push(new Array(10_000).fill(kept.length));
  },
};

export default createTaskHandler(Object.entries(tasks).map(([name, run]) => implement({ name }, run)));
