import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';

/** What every report's page is made with. */
export interface PageParts {
  /** Programs in the order in which they run. */
  readonly scripts: readonly string[];
  readonly style: string;
}

/** The page's style, in the order in which its rules are to count. */
const STYLES = ['colours', 'text', 'plate', 'drawings', 'tables', 'small-and-print'];

/** Reads the viewer out of its package, and the page's own program and style. */
export async function pageParts(): Promise<PageParts> {
  const viewer = createRequire(import.meta.url).resolve('openseadragon/build/openseadragon/openseadragon.min.js');
  const beside = (path: string): URL => new URL(`../../${path}`, import.meta.url);
  const read = (file: string | URL): Promise<string> => readFile(file, 'utf8');
  const [library, program] = await Promise.all([viewer, beside('dist-page/page.js')].map(read));
  const styles = await Promise.all(STYLES.map((name) => read(beside(`page/${name}.css`))));
  return { scripts: [library!.replace(/^\/\/# sourceMappingURL=.*$/m, ''), program!], style: styles.join('') };
}
