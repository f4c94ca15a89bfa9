import { describeFailure } from './exit-code.js';
import { runProgram } from './program.js';

// Whoever reads our output may stop reading, as `head` does: that is no fault. A disk that is full is the machine's.
for (const stream of [process.stdout, process.stderr]) {
  stream.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code === 'EPIPE') return;
    const { exitCode, code, message } = describeFailure(error);
    if (stream === process.stdout)
      process.stderr.write(`plenilune: the result cannot be printed: ${message} [${code}]\n`);
    process.exit(exitCode);
  });
}

process.exitCode = await runProgram(process.argv.slice(2));
