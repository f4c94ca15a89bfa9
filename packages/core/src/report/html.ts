/** Text that is HTML already; everything else is escaped where it is put into a page. */
export class Html {
  readonly text: string;

  constructor(text: string) {
    this.text = text;
  }
}

/** What can stand in a template: nothing at all for null and false. */
export type Part = Html | string | number | null | false | readonly Part[];

/**
 * A template whose values are escaped, as text and as the value of a quoted attribute, unless they are {@link Html}. Lists are
 * put one after the other.
 */
export function html(strings: TemplateStringsArray, ...parts: readonly Part[]): Html {
  return new Html(strings.map((text, i) => text + (i < parts.length ? textOf(parts[i]!) : '')).join(''));
}

function textOf(part: Part): string {
  if (part instanceof Html) return part.text;
  if (part === null || part === false) return '';
  if (typeof part === 'string' || typeof part === 'number') return escapeText(String(part));
  return part.map(textOf).join('');
}

function escapeText(text: string): string {
  return text.replace(/[&<>"'`]/g, (sign) => `&#${sign.charCodeAt(0)};`);
}

/** A program for a `<script>` element, from which no `</script>` or `<!--` within can break out; the same program. */
export function inlineScript(program: string): string {
  return program.replace(/<\/(?=script)/gi, '<\\/').replace(/<!--/g, '<\\!--');
}

/** A value as JSON for a `<script type="application/json">` element, from which no text within can break out. */
export function inlineJson(value: unknown): Html {
  return new Html(JSON.stringify(value).replace(/[<>&\u2028\u2029]/g, (sign) => `\\u${hex(sign)}`));
}

function hex(sign: string): string {
  return sign.charCodeAt(0).toString(16).padStart(4, '0');
}
