// What every benchmark prints first: the machine and the versions, so that a figure can be told from another's.
import { readFileSync } from 'node:fs';
import { arch, cpus, platform, totalmem } from 'node:os';

export function printMachine() {
  const manifest = JSON.parse(readFileSync(new URL('../packages/core/package.json', import.meta.url), 'utf8'));
  const memory = `${Math.round(totalmem() / 2 ** 30)} GiB`;
  const { name, version, dependencies } = manifest;
  console.log(
    `${cpus()[0]?.model.trim()}, ${cpus().length} cores, ${memory}, ${platform()} ${arch()}, Node ${process.version}`,
  );
  console.log(
    `${name} ${version}, ${Object.entries(dependencies)
      .map(([k, v]) => `${k} ${v}`)
      .join(', ')}\n`,
  );
}

/** Rows of cells as a table with aligned columns. */
export function printTable(header, rows) {
  const cells = [header, ...rows].map((row) => row.map(String));
  const widths = header.map((_, c) => Math.max(...cells.map((row) => row[c].length)));
  for (const row of cells)
    console.log(
      row
        .map((cell, c) => cell.padEnd(widths[c]))
        .join('  ')
        .trimEnd(),
    );
  console.log('');
}
