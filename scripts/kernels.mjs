// Compiles the WebAssembly kernels of packages/core when their sources, settings or compiler have changed.
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import asc from 'assemblyscript/asc';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const sources = join(root, 'packages', 'core', 'kernels');
const out = join(root, 'packages', 'core', 'dist-kernels');
const module = join(out, 'kernels.wasm');
const stamp = join(out, 'kernels.stamp');

const wanted = sourceHash();
if (!existsSync(module) || !existsSync(stamp) || readFileSync(stamp, 'utf8') !== wanted) await compile();

async function compile() {
  mkdirSync(out, { recursive: true });
  // Written under a name of its own, then renamed: nobody loads half a module.
  const made = join(out, `kernels.${process.pid}.wasm`);
  const options = { stdout: process.stderr, stderr: process.stderr };
  const settings = join(sources, 'asconfig.json');
  const { error } = await asc.main([join(sources, 'kernels.ts'), '--config', settings, '--outFile', made], options);
  if (error) {
    rmSync(made, { force: true });
    process.stderr.write(`kernels: compiling failed; the lines above say why (${error.message})\n`);
    process.exit(1);
  }
  renameSync(made, module);
  writeFileSync(stamp, wanted);
}

/** Everything that decides what the compiler gives. */
function sourceHash() {
  const hash = createHash('sha256').update(`${asc.version}\n`);
  for (const name of readdirSync(sources).sort()) {
    if (/\.(ts|json)$/.test(name))
      hash
        .update(`${name}\n`)
        .update(readFileSync(join(sources, name)))
        .update('\n');
  }
  return hash.digest('hex');
}
