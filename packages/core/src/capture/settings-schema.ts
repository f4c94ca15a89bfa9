import { readFileSync } from 'node:fs';

/**
 * The part of JSON Schema (2020-12) that `schema/capture.schema.json` is written in. {@link captureSchema} refuses any
 * other keyword, so that nothing in the file goes unchecked.
 */
export interface SchemaNode {
  readonly description?: string;
  readonly examples?: readonly unknown[];
  readonly type?: 'object' | 'array' | 'string' | 'number' | 'integer' | 'boolean';
  readonly const?: false;
  readonly enum?: readonly string[];
  /** One of the names in settings-formats.ts. */
  readonly format?: string;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly minimum?: number;
  readonly exclusiveMinimum?: number;
  readonly maximum?: number;
  readonly properties?: Readonly<Record<string, SchemaNode>>;
  readonly dependentRequired?: Readonly<Record<string, readonly string[]>>;
  /** Exactly one of these groups of fields is given. */
  readonly oneOf?: readonly { readonly required: readonly string[] }[];
  readonly items?: SchemaNode;
  readonly maxItems?: number;
  /** Alternatives of different kinds: which one is meant shows from the kind of the value. */
  readonly anyOf?: readonly SchemaNode[];
}

const KEYWORDS: ReadonlySet<string> = new Set([
  ...['$schema', '$defs', '$ref', 'title', 'description', 'examples', 'type', 'const', 'enum', 'format'],
  ...['minLength', 'maxLength', 'minimum', 'exclusiveMinimum', 'maximum', 'properties', 'additionalProperties'],
  ...['dependentRequired', 'oneOf', 'items', 'maxItems', 'anyOf'],
]);

let loaded: SchemaNode | undefined;

/** The schema of `capture.yaml`, read once from the package's own file, with its references replaced by what they name. */
export function captureSchema(): SchemaNode {
  if (loaded === undefined) {
    const file = new URL('../../schema/capture.schema.json', import.meta.url);
    const raw = JSON.parse(readFileSync(file, 'utf8')) as Raw;
    loaded = resolve(raw, raw.$defs as Readonly<Record<string, Raw>>);
  }
  return loaded;
}

type Raw = Readonly<Record<string, unknown>>;

function resolve(raw: Raw, defs: Readonly<Record<string, Raw>>): SchemaNode {
  const { $ref, $defs: _defs, ...own } = raw;
  const target = typeof $ref === 'string' ? defs[$ref.replace('#/$defs/', '')] : {};
  const merged: Raw = { ...target, ...own };
  for (const keyword of Object.keys(merged)) {
    if (!KEYWORDS.has(keyword)) throw new Error(`capture.schema.json: the keyword ${keyword} is not understood`);
  }
  const { properties, items, anyOf } = merged as {
    properties?: Readonly<Record<string, Raw>>;
    items?: Raw;
    anyOf?: Raw[];
  };
  return {
    ...merged,
    ...(properties && {
      properties: Object.fromEntries(Object.entries(properties).map(([name, node]) => [name, resolve(node, defs)])),
    }),
    ...(items && { items: resolve(items, defs) }),
    ...(anyOf && { anyOf: anyOf.map((node) => resolve(node, defs)) }),
  };
}
