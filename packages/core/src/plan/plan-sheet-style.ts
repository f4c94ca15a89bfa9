/**
 * The look of a plan's sheet: a page of A4 lying, a window of 900 px or more in which every row of the passes stands whole, and
 * narrow screens, where a pass is a block of named figures.
 */
export const SHEET_STYLE: string = `
:root { color-scheme: light dark; --ink: #111; --soft: #555; --paper: #fff; --line: #bbb; --head: #eee; --warn: #a00 }
@media screen and (prefers-color-scheme: dark) {
  svg { filter: brightness(0.6) }
  :root { --ink: #ddd; --soft: #aaa; --paper: #111; --line: #555; --head: #222; --warn: #ff6b60 }
}
@page { size: A4 landscape; margin: 10mm }
* { box-sizing: border-box }
body { font: 14px/1.4 sans-serif; color: var(--ink); background: var(--paper); margin: 0 auto; padding: 12px; max-width: 1240px }
h1 { font-size: 22px; line-height: 1.2; margin: 0 0 8px } h1 span { white-space: nowrap } h2 { font-size: 15px; margin: 16px 0 4px; break-after: avoid }
dl { margin: 0 0 8px } dl div { display: grid; grid-template-columns: 64px 1fr } dt { color: var(--soft) } dd { margin: 0 }
.blank { display: inline-block; width: 14em; border-bottom: 1px solid var(--soft); margin-right: 8px }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums }
td, th { border: 1px solid var(--line); padding: 2px 5px; text-align: left; vertical-align: top }
th { background: var(--head); vertical-align: bottom } tr { break-inside: avoid } thead { display: table-header-group }
.windows td:first-child { width: 1% } .windows td:nth-child(2) { width: 50% }
@media screen and (min-width: 900px), print { .windows td:nth-child(2) { width: 1%; white-space: nowrap } }
.warning { border: 4px solid var(--warn); padding: 8px; margin: 8px 0; font-weight: bold; color: var(--warn) }
.sides { display: flex; gap: 20px; align-items: flex-start; break-inside: avoid } .sides > div { flex: 1 1 320px; min-width: 0 }
ul { margin: 2px 0; padding-left: 18px } li { margin-bottom: 3px }
svg { width: 540px; max-width: 55%; flex: 0 1 auto }
.passes { font-size: clamp(12px, 1.27vw, 14px) } .passes td, .passes th { text-align: right; padding: 2px 4px }
.passes td { white-space: nowrap }
@media screen and (max-width: 1099px) { .passes span { display: block } }
@media screen and (max-width: 899px) {
  .sides { display: block } svg { width: 100%; max-width: 600px } svg text { font-size: 26px }
  .passes, .passes tbody { display: block; font-size: 14px } .passes thead { display: none }
  .passes tr { display: grid; grid-template-columns: repeat(auto-fill, minmax(110px, 1fr)); border: 1px solid var(--line); margin-bottom: 8px; padding: 4px 6px }
  .passes td { border: 0; text-align: left; padding: 1px 0 }
  .passes td::before { content: attr(data-name); display: block; color: var(--soft); font-size: 12px; line-height: 1.2 }
  .passes td:first-child { grid-column: 1 / -1; font-weight: bold } .passes td:first-child::before { display: inline; content: "pass "; font-size: inherit }
}
@media print {
  body { font-size: 10.5px; padding: 0; max-width: none } h1 { font-size: 17px; margin-bottom: 4px } h2 { font-size: 12px; margin-top: 8px }
  td, th, .passes td, .passes th { padding: 1px 4px } .passes { font-size: 10px } th { print-color-adjust: exact } .windows { break-inside: avoid }
  dl { display: grid; grid-template-columns: 1fr 1fr; column-gap: 24px; margin-bottom: 4px } dl div { grid-template-columns: 48px 1fr } dl div:first-child { grid-column: 1 / -1 }
  svg { width: auto; max-width: 50%; max-height: 80mm } .warning { padding: 4px 6px } .warning ul { columns: 2; column-gap: 24px } li { margin-bottom: 2px }
}`;
