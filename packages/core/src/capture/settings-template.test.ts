import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { valuesOf } from '../../test/arbitrary-settings.js';
import { parseSettings } from './settings-read.js';
import { captureSchema, type SchemaNode } from './settings-schema.js';
import { writeSettingsTemplate } from './settings-template.js';
import type { CaptureSettings } from './settings-types.js';

/** What a person does who sets every field. */
function switchedOn(template: string): string {
  return template.replace(/^#(?=\S| {2})/gm, '');
}

function names(node: SchemaNode): string[] {
  return Object.entries(node.properties ?? {}).flatMap(([name, field]) => {
    const inner = field.items ?? field.anyOf?.find(({ type }) => type === 'object') ?? field;
    return [name, ...names(inner)];
  });
}

describe('the template', () => {
  test('says nothing by itself', () => {
    expect(parseSettings(writeSettingsTemplate(), 'capture.yaml')).toEqual({});
  });

  test('names and explains every field', () => {
    const lines = writeSettingsTemplate().split('\n');
    for (const name of names(captureSchema())) {
      const at = lines.findIndex((line) => new RegExp(`^# *(- )?${name}:`).test(line));
      expect(at, name).toBeGreaterThan(0);
      expect(lines[at - 1], name).toMatch(/^# \S/);
    }
  });

  test('holds nothing but valid settings once every field is on', () => {
    const all = parseSettings(switchedOn(writeSettingsTemplate()), 'capture.yaml');
    expect(Object.keys(all)).toEqual(Object.keys(captureSchema().properties!));
    expect(all.passes).toEqual([expect.objectContaining({ folder: 'lower' }), { clip: 'clips/upper.mov' }]);
  });

  test('fields that are off can be switched on beside those that were filled in', () => {
    const inferred: CaptureSettings = {
      sensor: { widthPx: 640 },
      passes: [{ clip: 'a.mov' }],
      rights: { licence: 'CC0-1.0' },
    };
    const text = writeSettingsTemplate(inferred)
      .replace('#  pitchUm:', '  pitchUm:')
      .replace('#    role:', '    role:');
    expect(parseSettings(text, 'capture.yaml')).toEqual({
      sensor: { widthPx: 640, pitchUm: 3.76 },
      passes: [{ clip: 'a.mov', role: 'pass' }],
      rights: { licence: 'CC0-1.0' },
    });
  });

  test('gives back whatever was filled in', () => {
    fc.assert(
      fc.property(valuesOf(captureSchema()) as fc.Arbitrary<CaptureSettings>, (drawn) => {
        const passes = drawn.passes?.map((entry, i) => ({ ...entry, name: `pass ${i}`, ...placeOf(entry, i) }));
        const inferred = passes === undefined ? drawn : { ...drawn, passes };
        expect(parseSettings(writeSettingsTemplate(inferred), 'capture.yaml')).toEqual(inferred);
      }),
      { seed: 3, numRuns: 300 },
    );
  });
});

function placeOf(entry: { readonly folder?: string }, i: number): { folder: string } | { clip: string } {
  return entry.folder === undefined ? { clip: `${i}.mov` } : { folder: `${i}` };
}
