import type { Notice } from '@plenilune/core';

/** The first notice of each kind, a line each. */
export function noteLines(notices: readonly Notice[]): string[] {
  return [...new Set(notices.map(({ reason }) => reason))].map((reason) => {
    const [first, ...more] = notices.filter((notice) => notice.reason === reason);
    return `Note on ${first!.item}${more.length > 0 ? ` and ${more.length} more` : ''}: ${first!.detail}`;
  });
}

/** "3 blurred, 1 unreadable" */
export function tally(losses: readonly { readonly reason: string }[]): string {
  const counts = new Map<string, number>();
  for (const { reason } of losses) counts.set(reason, (counts.get(reason) ?? 0) + 1);
  return [...counts].map(([reason, times]) => `${times} ${reason}`).join(', ');
}

/** "1 pass", "2 passes" */
export function count(number: number, one: string, many: string): string {
  return `${number} ${number === 1 ? one : many}`;
}

/** A detail as a sentence: those of some stages are fragments. */
export function ended(detail: string): string {
  return /[.!?]$/.test(detail) ? detail : `${detail}.`;
}

/** Rows of cells as lines whose columns begin below each other; a column that is empty throughout is left out. */
export function inColumns(rows: readonly (readonly string[])[]): string[] {
  const widths = (rows[0] ?? []).map((_, column) => Math.max(...rows.map((row) => row[column]!.length)));
  return rows.map((row) =>
    row
      .map((cell, column) => cell.padEnd(widths[column]!))
      .filter((_, column) => widths[column]! > 0)
      .join('  ')
      .trimEnd(),
  );
}
