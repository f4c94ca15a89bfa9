import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';

/** What every report's page is made with. */
export interface PageParts {
  /** Programs in the order in which they run. */
  readonly scripts: readonly string[];
  readonly style: string;
}

/** Reads the viewer out of its package, and the page's own program and style. */
export async function pageParts(): Promise<PageParts> {
  const viewer = createRequire(import.meta.url).resolve('openseadragon/build/openseadragon/openseadragon.min.js');
  const beside = (path: string): URL => new URL(`../../${path}`, import.meta.url);
  const [library, program, style] = await Promise.all(
    [viewer, beside('dist-page/page.js'), beside('page/page.css')].map((file) => readFile(file, 'utf8')),
  );
  return { scripts: [library!.replace(/^\/\/# sourceMappingURL=.*$/m, ''), program!], style: style! };
}
