// Stitches one capture in a process of its own and prints what that took, as JSON: seconds by stage, wall and processor
// seconds, peak resident memory, bytes that were read and written. Arguments: capture, output folder, memory in bytes.
import { readFile } from 'node:fs/promises';
import { stitch } from '../packages/core/dist/index.js';

const [capture, outDir, memory] = process.argv.slice(2);
const stages = {};
const onProgress = (event) => {
  if (event.kind === 'stage-end') stages[event.stage] = (stages[event.stage] ?? 0) + event.elapsedMs / 1000;
};
const started = performance.now();
const memoryBytes = memory ? Number(memory) : undefined;
const result = await stitch(capture, { outDir, force: true, onProgress, ...(memoryBytes && { memoryBytes }) });
const wallS = (performance.now() - started) / 1000;
const { user, system } = process.cpuUsage();
const io = await readFile('/proc/self/io', 'utf8').catch(() => '');
const bytesOf = (name) => Number(new RegExp(`^${name}: (\\d+)`, 'm').exec(io)?.[1] ?? Number.NaN);
console.log(
  JSON.stringify({
    ...{ stages, wallS, cpuS: (user + system) / 1e6, peakMiB: process.resourceUsage().maxRSS / 1024 },
    ...{ readMiB: bytesOf('rchar') / 2 ** 20, writtenMiB: bytesOf('wchar') / 2 ** 20 },
    ...{ platePath: result.platePath, widthPx: result.widthPx, heightPx: result.heightPx },
    ...{ scratchMiB: result.scratch.bytes / 2 ** 20, complete: result.complete },
  }),
);
