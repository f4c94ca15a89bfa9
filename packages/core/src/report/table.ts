import { type Html, html, type Part } from './html.js';

/** A column: its heading, and whether it holds numbers. */
export type Column = string | { readonly name: string; readonly isNumber: true };

/** A table in a region of its own, which scrolls sideways by hand and by keys where it is too wide. */
export function table(name: string, columns: readonly Column[], rows: readonly (readonly Part[])[]): Html {
  const heads = columns.map((c) =>
    typeof c === 'string' ? html`<th scope="col">${c}</th>` : html`<th scope="col" class="number">${c.name}</th>`,
  );
  const lines = rows.map((cells) => html`<tr>${cells.map((cell, k) => cellOf(cell, columns[k]!, k))}</tr>`);
  return html`<div class="scroll" role="region" aria-label="${name}, table" tabindex="0"><table><thead><tr>${heads}</tr></thead><tbody>${lines}</tbody></table></div>`;
}

function cellOf(cell: Part, column: Column, k: number): Html {
  if (k === 0) return html`<th scope="row">${cell}</th>`;
  return typeof column === 'string' ? html`<td>${cell}</td>` : html`<td class="number">${cell}</td>`;
}

/** A column of numbers. */
export function numbers(name: string): Column {
  return { name, isNumber: true };
}

/** Names with what they are. */
export function facts(rows: readonly (readonly [string, Part])[], look = 'facts'): Html {
  return html`<dl class="${look}">${rows.map(([name, value]) => html`<div><dt>${name}</dt><dd>${value}</dd></div>`)}</dl>`;
}

/** A part of the page with its heading. */
export function section(id: string, title: string, ...parts: readonly Part[]): Html {
  return html`<section id="${id}" aria-labelledby="${id}-title"><h2 id="${id}-title">${title}</h2>${parts}</section>`;
}
