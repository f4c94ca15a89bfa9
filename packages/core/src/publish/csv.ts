/**
 * A table as CSV (RFC 4180): every cell in quotes, lines ended by CR LF. A cell that a spreadsheet would take for a formula
 * has an apostrophe put before it, so that it is shown and never worked out.
 */
export function csvTable(rows: readonly (readonly (string | number)[])[]): string {
  return rows.map((row) => `${row.map(csvCell).join(',')}\r\n`).join('');
}

function csvCell(value: string | number): string {
  if (typeof value === 'number') return String(value);
  const safe = FORMULA.test(value) ? `'${value}` : value;
  return `"${safe.replaceAll('"', '""')}"`;
}

/** How a formula begins, after any spaces; the wide forms are taken for the plain ones by some. */
const FORMULA = /^\s*[=+\-@\t\r\n＝＋－＠]/;
