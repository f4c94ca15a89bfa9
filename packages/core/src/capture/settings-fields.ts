import { captureSchema, type SchemaNode } from './settings-schema.js';
import type { CaptureSettings } from './settings-types.js';

/** Fields of a `capture.yaml` by their names, such as `site.latitudeDeg`; those of a list stand for all its entries. */
export interface SettingsFields {
  /** What has a value. */
  readonly filledIn: readonly string[];
  /** What has none, and is a comment in a template; a section without any value stands for all its fields. */
  readonly off: readonly string[];
}

/** Says which fields settings give, and which they leave open; both in the order of the file. */
export function settingsFields(settings: CaptureSettings): SettingsFields {
  const fields = under(captureSchema(), [{ ...settings }], '');
  const names = (isGiven: boolean): string[] =>
    fields.flatMap((field) => (field.isGiven === isGiven ? field.name : []));
  return { filledIn: names(true), off: names(false) };
}

type Values = Readonly<Record<string, unknown>>;

/** Fields of a section, or of all entries of a list, whose values these are. */
function under(schema: SchemaNode, values: readonly Values[], prefix: string): { name: string; isGiven: boolean }[] {
  // Of alternatives such as folder and clip, one is given in each entry: nothing is open there.
  const alternatives = new Set(schema.oneOf?.flatMap(({ required }) => required));
  return Object.entries(schema.properties ?? {}).flatMap(([key, field]) => {
    const given = values.flatMap((entry) => (entry[key] === undefined ? [] : [entry[key]]));
    const name = `${prefix}${key}`;
    if (given.length === 0) return alternatives.has(key) ? [] : [{ name, isGiven: false }];
    const section = field.items ?? field.anyOf?.find(({ type }) => type === 'object') ?? field;
    const inner = given.flat().filter(isValues);
    return section.properties === undefined || inner.length === 0
      ? [{ name, isGiven: true }]
      : under(section, inner, `${name}.`);
  });
}

function isValues(value: unknown): value is Values {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}
