import { runProgram } from './program.js';

// Whoever reads our output may stop reading, as `head` does: that is no fault.
for (const stream of [process.stdout, process.stderr]) {
  stream.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE') throw error;
  });
}

process.exitCode = await runProgram(process.argv.slice(2));
