import { isMap, isScalar, isSeq, type Node, type YAMLMap, type YAMLSeq } from 'yaml';
import type { SettingsFault } from './settings-fault.js';
import { SETTINGS_FORMATS } from './settings-formats.js';
import { nearestName } from './settings-nearest.js';
import type { SchemaNode } from './settings-schema.js';
import type { YamlTree } from './settings-yaml.js';

/**
 * Compares a tree with a schema and gives its plain value, paths made plain, together with every fault. A field
 * without a value counts as not given. What is faulty is missing from the value.
 */
export function checkSettings(tree: YamlTree, schema: SchemaNode): { value: unknown; faults: SettingsFault[] } {
  const check: Check = { at: tree.at, faults: [], top: schema };
  const value = tree.root === undefined || isEmpty(tree.root) ? {} : checkNode(check, tree.root, schema, '');
  return { value, faults: check.faults };
}

interface Check {
  readonly at: YamlTree['at'];
  readonly faults: SettingsFault[];
  readonly top: SchemaNode;
}

function fault(check: Check, node: Node, path: string, message: string): undefined {
  const subject = path === '' ? 'the file' : path;
  check.faults.push({ ...check.at(node), message: `${subject} ${message}` });
  return undefined;
}

function checkNode(check: Check, node: Node, schema: SchemaNode, path: string): unknown {
  if (schema.anyOf !== undefined) {
    const kind = kindOf(node);
    const meant = schema.anyOf.find((alternative) => kindsOf(alternative).includes(kind));
    const never = meant?.const !== undefined && isScalar(node) && node.value !== meant.const;
    return meant && !never ? checkNode(check, node, meant, path) : wrongKind(check, node, schema, path);
  }
  if (!kindsOf(schema).includes(kindOf(node))) return wrongKind(check, node, schema, path);
  if (isMap(node)) return checkFields(check, node, schema, path);
  if (isSeq(node)) return checkList(check, node, schema, path);
  const value = isScalar(node) ? node.value : undefined;
  if (typeof value === 'number') return checkNumber(check, node, value, schema, path);
  if (typeof value === 'string') return checkText(check, node, value, schema, path);
  return value;
}

function checkFields(check: Check, map: YAMLMap, schema: SchemaNode, path: string): Record<string, unknown> {
  const fields = schema.properties ?? {};
  const value: Record<string, unknown> = {};
  const given = new Set<string>();
  for (const { key, value: field } of map.items as { key: Node; value: Node | null }[]) {
    const name = isScalar(key) ? String(typeof key.value === 'string' ? key.value : key.source) : '';
    if (!Object.hasOwn(fields, name)) {
      fault(check, key, `${prefix(path)}${shown(name)}`, `is no field here${hintFor(check, name, fields)}`);
    } else if (field !== null && !isEmpty(field)) {
      given.add(name);
      const read = checkNode(check, field, fields[name]!, `${prefix(path)}${name}`);
      if (read !== undefined) value[name] = read;
    }
  }
  for (const [name, needed] of Object.entries(schema.dependentRequired ?? {})) {
    for (const other of needed) {
      if (given.has(name) && !given.has(other)) fault(check, map, `${prefix(path)}${name}`, `needs ${other} beside it`);
    }
  }
  if (schema.oneOf !== undefined) {
    const groups = schema.oneOf.filter(({ required }) => required.every((name) => given.has(name)));
    const names = listed(
      schema.oneOf.map(({ required }) => required.join(' and ')),
      'or',
    );
    if (groups.length === 0) fault(check, map, path, `needs ${names}`);
    if (groups.length > 1) fault(check, map, path, `has more than one of ${names}; keep one`);
  }
  return value;
}

function hintFor(check: Check, name: string, fields: Readonly<Record<string, SchemaNode>>): string {
  const near = nearestName(name, Object.keys(fields));
  const elsewhere = Object.entries(check.top.properties ?? {}).find(
    ([, section]) => section.properties !== undefined && Object.hasOwn(section.properties, name),
  );
  if (elsewhere !== undefined && fields !== elsewhere[1].properties) return `; it belongs under ${elsewhere[0]}`;
  return near === undefined ? `; there are ${listed(Object.keys(fields), 'and')}` : `; did you mean ${near}?`;
}

function checkList(check: Check, list: YAMLSeq, schema: SchemaNode, path: string): unknown[] | undefined {
  const most = schema.maxItems ?? Number.POSITIVE_INFINITY;
  if (list.items.length > most)
    return fault(check, list, path, `has ${list.items.length} entries; at most ${most} are read`);
  const values: unknown[] = [];
  for (const [i, item] of (list.items as Node[]).entries()) {
    const read = checkNode(check, item, schema.items ?? {}, `${path}[${i}]`);
    if (read !== undefined) values.push(read);
  }
  return values;
}

function checkNumber(check: Check, node: Node, value: number, schema: SchemaNode, path: string): number | undefined {
  if (!Number.isFinite(value)) return fault(check, node, path, 'is not finite');
  if (schema.type === 'integer' && !Number.isInteger(value)) {
    return fault(check, node, path, `is ${value}; expected a whole number`);
  }
  const { minimum, exclusiveMinimum, maximum } = schema;
  const tooLow =
    (minimum !== undefined && value < minimum) || (exclusiveMinimum !== undefined && value <= exclusiveMinimum);
  if (!tooLow && (maximum === undefined || value <= maximum)) return value;
  const from = minimum === undefined ? `above ${exclusiveMinimum}` : `from ${minimum}`;
  return fault(check, node, path, `is ${value}; expected ${from} to ${maximum}`);
}

function checkText(check: Check, node: Node, text: string, schema: SchemaNode, path: string): string | undefined {
  if (schema.enum !== undefined) {
    if (schema.enum.includes(text)) return text;
    const near = nearestName(text, schema.enum);
    const hint = near === undefined ? '' : `; did you mean ${near}?`;
    return fault(check, node, path, `is ${shown(text)}; expected ${listed(schema.enum, 'or')}${hint}`);
  }
  // As JSON Schema counts: code points.
  const length = [...text].length;
  if (length < (schema.minLength ?? 0)) return fault(check, node, path, 'is an empty text');
  const most = schema.maxLength ?? Number.POSITIVE_INFINITY;
  if (length > most) return fault(check, node, path, `has ${length} characters; at most ${most} are read`);
  if (schema.format === undefined) return text;
  const verdict = SETTINGS_FORMATS[schema.format]!(text);
  return 'value' in verdict ? verdict.value : fault(check, node, path, `is ${shown(text)}, which ${verdict.fault}`);
}

type Kind = 'object' | 'array' | 'string' | 'number' | 'boolean' | 'nothing';

function kindOf(node: Node): Kind {
  if (isMap(node)) return 'object';
  if (isSeq(node)) return 'array';
  const type = isScalar(node) ? typeof node.value : 'undefined';
  return type === 'string' || type === 'number' || type === 'boolean' ? type : 'nothing';
}

function kindsOf(schema: SchemaNode): readonly Kind[] {
  if (schema.const !== undefined) return ['boolean'];
  if (schema.enum !== undefined) return ['string'];
  if (schema.type === 'integer') return ['number'];
  return schema.type === undefined ? [] : [schema.type];
}

function wrongKind(check: Check, node: Node, schema: SchemaNode, path: string): undefined {
  const source = isScalar(node) ? String(node.source ?? node.value) : '';
  const found = { object: 'has fields of its own', array: 'is a list', nothing: 'is empty' }[kindOf(node) as string];
  const wanted = listed((schema.anyOf ?? [schema]).map(wordsFor), 'or');
  const quotes = isScalar(node) && wanted.includes('a text') && source !== '' ? `; put it in quotes: '${source}'` : '';
  return fault(check, node, path, `${found ?? `is ${shown(source)}`}; expected ${wanted}${quotes}`);
}

function wordsFor(schema: SchemaNode): string {
  if (schema.const !== undefined) return String(schema.const);
  if (schema.enum !== undefined) return listed(schema.enum, 'or');
  const words = {
    object: 'fields under it',
    array: 'a list',
    string: 'a text',
    number: 'a number',
    boolean: 'true or false',
  };
  return schema.type === 'integer' ? 'a whole number' : words[schema.type ?? 'object'];
}

function isEmpty(node: Node): boolean {
  return isScalar(node) && node.value === null;
}

function prefix(path: string): string {
  return path === '' ? '' : `${path}.`;
}

function listed(names: readonly string[], last: 'and' | 'or'): string {
  return names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')} ${last} ${names.at(-1)}`;
}

/** A text as written, cut where it is long, its control characters spelled out. */
function shown(text: string): string {
  const cut = text.length > 60 ? `${text.slice(0, 60)}...` : text;
  const plain = cut.replace(/\p{Cc}/gu, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`);
  return /^[\w.-]+$/.test(plain) ? plain : `'${plain}'`;
}
