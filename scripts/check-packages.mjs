// Fails when a package would not work for those who install it: every finding of publint counts.
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { publint } from 'publint';
import { formatMessage } from 'publint/utils';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
let failed = false;
for (const name of ['core', 'cli']) {
  const pkgDir = join(root, 'packages', name);
  const { messages, pkg } = await publint({ pkgDir, strict: true, pack: 'npm' });
  for (const message of messages)
    process.stderr.write(`${pkg.name}: ${message.type}: ${formatMessage(message, pkg)}\n`);
  if (messages.length === 0) process.stdout.write(`${pkg.name}: fit to publish\n`);
  failed ||= messages.length > 0;
}
process.exitCode = failed ? 1 : 0;
