import fc from 'fast-check';
import type { SchemaNode } from '../src/capture/settings-schema.js';

/** Texts that each format of the schema accepts as they are, so that they come back unchanged. */
const TEXTS: Readonly<Record<string, fc.Arbitrary<string>>> = {
  'path-inside': fc.stringMatching(/^[a-z0-9]{1,8}(\/[a-z0-9 ]{1,7}[a-z]){0,2}$/),
  'path-near': fc.stringMatching(/^(\.\.\/)?[a-z0-9]{1,8}$/),
  'path-to-table': fc.stringMatching(/^(\.\.\/)?[a-z]{1,8}\.cube$/),
  'time-zone': fc.constantFrom('Europe/Zurich', 'Asia/Kolkata', 'UTC', '+05:30', '-03', 'America/St_Johns'),
  moment: fc.constantFrom('2025-10-03T21:14:05.5+02:00', '2024-02-29 23:59:60Z', '2025-10-03T21:14'),
  'frame-choice': fc.constantFrom('frame_0007.tif', '3', '0-12', 'a b.png', '7-7'),
  'web-address': fc.constantFrom('https://example.org/a?b=c#d', 'http://example.org'),
};

/** Values that a node of the schema accepts, drawn from the schema itself. */
export function valuesOf(schema: SchemaNode): fc.Arbitrary<unknown> {
  if (schema.anyOf !== undefined) return fc.oneof(...schema.anyOf.map(valuesOf));
  if (schema.const !== undefined) return fc.constant(schema.const);
  if (schema.enum !== undefined) return fc.constantFrom(...schema.enum);
  if (schema.format !== undefined) return TEXTS[schema.format]!;
  if (schema.type === 'object') return fieldsOf(schema);
  if (schema.type === 'array') return fc.array(valuesOf(schema.items ?? {}), { maxLength: 4 });
  if (schema.type === 'boolean') return fc.boolean();
  if (schema.type === 'string') {
    return fc.string({ unit: 'grapheme', minLength: schema.minLength ?? 0, maxLength: 30 });
  }
  const low = schema.minimum ?? schema.exclusiveMinimum ?? 0;
  if (schema.type === 'integer') return fc.integer({ min: low, max: schema.maximum ?? 10 });
  const number = fc.double({ min: low, max: schema.maximum ?? 10, noNaN: true });
  return number.filter((value) => value !== schema.exclusiveMinimum && !Object.is(value, -0));
}

function fieldsOf(schema: SchemaNode): fc.Arbitrary<unknown> {
  const fields = Object.entries(schema.properties ?? {}).map(([name, node]) => [name, valuesOf(node)] as const);
  const any = fc.record(Object.fromEntries(fields), { requiredKeys: [] }) as fc.Arbitrary<Record<string, unknown>>;
  return fc.tuple(any, fc.nat()).map(([given, choice]) => {
    const kept = { ...given };
    for (const [name, needed] of Object.entries(schema.dependentRequired ?? {})) {
      if (needed.some((other) => kept[other] === undefined)) delete kept[name];
    }
    const groups = (schema.oneOf ?? []).map(({ required }) => required[0]!);
    const chosen = groups[choice % Math.max(1, groups.length)];
    for (const name of groups) if (name !== chosen) delete kept[name];
    if (chosen !== undefined) kept[chosen] ??= `made-${choice}`;
    return kept;
  });
}
