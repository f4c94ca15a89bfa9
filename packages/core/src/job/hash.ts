import { createHash } from 'node:crypto';
import { InternalError } from './errors.js';

/**
 * JSON with sorted keys, so that equal values have equal texts. A property that is undefined counts as absent.
 *
 * @throws InternalError when the value holds anything that JSON would lose: a number that is not finite, undefined in a
 * list, a function, a bigint, or an object that is not plain (typed arrays, dates, maps).
 */
export function canonicalJson(value: unknown): string {
  return encode(value, '$');
}

/** SHA-256 of the {@link canonicalJson} text, 64 hexadecimal digits. */
export function hashOf(value: unknown): string {
  return createHash('sha256').update(canonicalJson(value)).digest('hex');
}

/** SHA-256 of numbers as they lie in memory, 64 hexadecimal digits. */
export function hashOfFloats(floats: Float32Array): string {
  return createHash('sha256')
    .update(new Uint8Array(floats.buffer, floats.byteOffset, floats.byteLength))
    .digest('hex');
}

function encode(value: unknown, where: string): string {
  if (value === null || typeof value === 'boolean' || typeof value === 'string') return JSON.stringify(value);
  if (typeof value === 'number') {
    if (!Number.isFinite(value)) throw new InternalError(`${where} is ${value}; only finite numbers can be recorded`);
    return JSON.stringify(value);
  }
  if (Array.isArray(value)) return `[${Array.from(value, (item, i) => encode(item, `${where}[${i}]`)).join(',')}]`;
  if (typeof value === 'object' && isPlain(value)) {
    const entries = Object.entries(value).filter(([, item]) => item !== undefined);
    entries.sort(([a], [b]) => (a < b ? -1 : 1));
    return `{${entries.map(([key, item]) => `${JSON.stringify(key)}:${encode(item, `${where}.${key}`)}`).join(',')}}`;
  }
  throw new InternalError(`${where} is ${kindOf(value)}; only plain JSON values can be recorded`);
}

function isPlain(value: object): boolean {
  const prototype: unknown = Object.getPrototypeOf(value);
  return prototype === null || prototype === Object.prototype || Object.getPrototypeOf(prototype) === null;
}

function kindOf(value: unknown): string {
  return typeof value === 'object' && value !== null ? `a ${value.constructor.name}` : `of type ${typeof value}`;
}
