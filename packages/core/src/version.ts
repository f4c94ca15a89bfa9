import { readFileSync } from 'node:fs';

/** Version of this package, from its manifest. */
export const VERSION: string = readVersion();

function readVersion(): string {
  const manifest: unknown = JSON.parse(readFileSync(new URL('../package.json', import.meta.url), 'utf8'));
  const version =
    typeof manifest === 'object' && manifest !== null && 'version' in manifest ? manifest.version : undefined;
  return typeof version === 'string' ? version : '0.0.0';
}
