import { stringify } from 'yaml';
import { captureSchema, type SchemaNode } from './settings-schema.js';
import type { CaptureSettings } from './settings-types.js';

/**
 * The text of a `capture.yaml` to start from: every field with its meaning, those that `inferred` gives filled in, all
 * others as comments with an example. {@link parseSettings} gives `inferred` back from it.
 */
export function writeSettingsTemplate(inferred: CaptureSettings = {}): string {
  return `${[...HEAD, ...writeFields(captureSchema(), { ...inferred }, { indent: '', given: true })].join('\n')}\n`;
}

const HEAD: readonly string[] = [
  '# Settings of a capture. Every field may be left out.',
  '# A line that begins with "# " explains. A field that begins with "#" is off: remove that one sign to set it, and those',
  '# before the names that it stands under.',
];

interface Place {
  readonly indent: string;
  /** Whether what stands here is given; else it is an example and becomes a comment. */
  readonly given: boolean;
}

type Values = Readonly<Record<string, unknown>>;

function writeFields(schema: SchemaNode, values: Values, place: Place): string[] {
  return Object.entries(schema.properties ?? {}).flatMap(([name, field]) => {
    const given = place.given && Object.hasOwn(values, name) && values[name] !== undefined;
    const spacer = place.indent === '' ? [''] : [];
    const explained = `# ${field.description ?? ''}${choicesOf(field)}`;
    return [...spacer, explained, ...writeField(name, field, values[name], { indent: place.indent, given })];
  });
}

function writeField(name: string, field: SchemaNode, value: unknown, place: Place): string[] {
  const sections = field.anyOf?.find(({ type }) => type === 'object') ?? field;
  const under: Place = { indent: `${place.indent}  `, given: place.given };
  if (sections.properties !== undefined && (value === undefined || isValues(value))) {
    const values = isValues(value) ? value : {};
    // A name with nothing but comments under it is empty: as an inline value it keeps what was given.
    if (place.given && Object.keys(values).length === 0) return [line(place, `${name}: {}`)];
    return [line(place, `${name}:`), ...writeFields(sections, values, under)];
  }
  if (field.items?.properties !== undefined) {
    const items = Array.isArray(value) ? (value as Values[]) : [];
    if (place.given && items.length === 0) return [line(place, `${name}: []`)];
    if (place.given)
      return [line(place, `${name}:`), ...items.flatMap((item, i) => writeItem(field.items!, item, under, i === 0))];
    return [line(place, `${name}:`), ...exampleItems(field.items).flatMap((item) => writeItem(item, {}, under, true))];
  }
  return [line(place, `${name}: ${inline(place.given ? value : field.examples?.[0])}`)];
}

/** One entry of a list, with the dash before its first field. Comments stand in the first entry only. */
function writeItem(item: SchemaNode, values: Values, place: Place, isFirst: boolean): string[] {
  const fields = item.properties ?? {};
  const given = Object.keys(fields).filter((name) => place.given && values[name] !== undefined);
  const others = Object.keys(fields).filter((name) => !given.includes(name));
  const order = isFirst ? [...given.slice(0, 1), ...others, ...given.slice(1)] : given;
  const sorted: SchemaNode = { properties: Object.fromEntries(order.map((name) => [name, fields[name]!])) };
  const written = writeFields(sorted, values, { indent: `${place.indent}  `, given: place.given });
  const lines = isFirst ? written : written.filter((text) => !isExplanation(text));
  const at = lines.findIndex((text) => !isExplanation(text));
  return lines.map((text, i) => (i === at ? text.replace(`${place.indent}  `, `${place.indent}- `) : text));
}

function isExplanation(text: string): boolean {
  return /^# \S/.test(text);
}

/** Where an entry needs one of several fields, an example of each: the first with every other field, the others alone. */
function exampleItems(item: SchemaNode): SchemaNode[] {
  const fields = item.properties ?? {};
  const [, ...others] = (item.oneOf ?? []).map(({ required }) => required);
  const pick = (keep: (name: string) => boolean): SchemaNode => ({
    properties: Object.fromEntries(Object.entries(fields).filter(([name]) => keep(name))),
  });
  return [
    pick((name) => !others.flat().includes(name)),
    ...others.map((names) => pick((name) => names.includes(name))),
  ];
}

function line({ indent, given }: Place, text: string): string {
  return `${given ? '' : '#'}${indent}${text}`;
}

function choicesOf({ enum: choices }: SchemaNode): string {
  return choices === undefined ? '' : ` One of ${choices.join(', ')}.`;
}

/** A value on one line. */
function inline(value: unknown): string {
  const broken = typeof value === 'string' && /[\r\n\u0085\u2028\u2029]/.test(value);
  if (broken) return JSON.stringify(value);
  return stringify(value, { collectionStyle: 'flow', lineWidth: 0, flowCollectionPadding: false }).replace(/\n$/, '');
}

function isValues(value: unknown): value is Values {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}
