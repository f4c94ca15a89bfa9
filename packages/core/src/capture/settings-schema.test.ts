import { readFile } from 'node:fs/promises';
import { Ajv2020 } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { stringify } from 'yaml';
import { valuesOf } from '../../test/arbitrary-settings.js';
import { SettingsError } from './settings-fault.js';
import { SETTINGS_FORMATS } from './settings-formats.js';
import { parseSettings } from './settings-read.js';
import { captureSchema, type SchemaNode } from './settings-schema.js';
import type {
  BodyName,
  CalibrationSettings,
  CaptureSettings,
  EncodingSettings,
  ListingSettings,
  OpticsSettings,
  PassSettings,
  RightsSettings,
  SensorSettings,
  SiteSettings,
  SplitSettings,
} from './settings-types.js';

const raw = JSON.parse(await readFile(new URL('../../schema/capture.schema.json', import.meta.url), 'utf8')) as object;
const ajv = new Ajv2020({ allErrors: true, strictTypes: false });
for (const [name, check] of Object.entries(SETTINGS_FORMATS)) ajv.addFormat(name, (text) => 'value' in check(text));
const validate = ajv.compile(raw);

/** Every field that a type has: the compiler refuses a list with one too many or one missing. */
type Fields<Type> = Readonly<Record<keyof Type, true>>;

const top: Fields<CaptureSettings> = {
  ...{ title: true, notes: true, site: true, optics: true, sensor: true, body: true, encoding: true, passes: true },
  ...{ onlyListed: true, split: true, calibration: true, rights: true, listing: true, synthetic: true },
};
const site: Fields<SiteSettings> = {
  ...{ latitudeDeg: true, longitudeDeg: true, heightM: true, timeZone: true, clockOffsetS: true, pressureHPa: true },
  temperatureC: true,
};
const optics: Fields<OpticsSettings> = { name: true, focalLengthMm: true, apertureMm: true, reducer: true };
const sensor: Fields<SensorSettings> = {
  ...{ name: true, widthPx: true, heightPx: true, pitchUm: true, bitDepth: true, readoutMs: true },
};
const encoding: Fields<EncodingSettings> = {
  ...{ curve: true, range: true, matrix: true, primaries: true, table: true, tableGives: true },
};
const pass: Fields<PassSettings> = {
  ...{ folder: true, clip: true, name: true, role: true, encoding: true, start: true, exposureS: true },
  ignoreFrames: true,
};
const split: Fields<SplitSettings> = { gapS: true };
const calibration: Fields<CalibrationSettings> = { dark: true, flat: true, bias: true };
const rights: Fields<RightsSettings> = {
  ...{ creator: true, copyrightNotice: true, licence: true, creditLine: true, sourceUrl: true, contactUrl: true },
  ...{ licensorName: true, statementUrl: true },
};
const listing: Fields<ListingSettings> = { description: true, altText: true, keywords: true };
type Choices<Type extends string> = Readonly<Record<Type, true>>;
const body: Choices<BodyName> = {
  ...{ moon: true, sun: true, mercury: true, venus: true, mars: true, jupiter: true, saturn: true, uranus: true },
  neptune: true,
};
const curve: Choices<NonNullable<EncodingSettings['curve']>> = {
  ...{ auto: true, srgb: true, linear: true, bt709: true, pq: true, hlg: true },
};
const range: Choices<NonNullable<EncodingSettings['range']>> = { auto: true, full: true, video: true };
const matrix: Choices<NonNullable<EncodingSettings['matrix']>> = {
  ...{ auto: true, bt601: true, bt709: true, bt2020: true, rgb: true },
};
const primaries: Choices<NonNullable<EncodingSettings['primaries']>> = {
  auto: true,
  bt709: true,
  p3: true,
  bt2020: true,
};
const tableGives: Choices<NonNullable<EncodingSettings['tableGives']>> = { linear: true, bt709: true, srgb: true };
const role: Choices<NonNullable<PassSettings['role']>> = { pass: true, guide: true, ignore: true };

function at(...names: string[]): SchemaNode {
  return names.reduce((node, name) => {
    const inner = node.items ?? node.anyOf?.find(({ type }) => type === 'object') ?? node;
    return inner.properties![name]!;
  }, captureSchema());
}

test.each([
  ['the file', captureSchema(), top],
  ['site', at('site'), site],
  ['optics', at('optics'), optics],
  ['sensor', at('sensor'), sensor],
  ['encoding', at('encoding'), encoding],
  ['passes', at('passes').items!, pass],
  ['encoding of a pass', at('passes', 'encoding'), encoding],
  ['split', at('split').anyOf![1]!, split],
  ['calibration', at('calibration'), calibration],
  ['rights', at('rights'), rights],
  ['listing', at('listing'), listing],
])('the type and the schema have the same fields: %s', (_, node, fields) => {
  expect(Object.keys(node.properties!).sort()).toEqual(Object.keys(fields).sort());
});

test.each([
  [at('body'), body],
  [at('encoding', 'curve'), curve],
  [at('encoding', 'range'), range],
  [at('encoding', 'matrix'), matrix],
  [at('encoding', 'primaries'), primaries],
  [at('encoding', 'tableGives'), tableGives],
  [at('passes', 'role'), role],
])('the type and the schema have the same choices: %#', (node, choices) => {
  expect([...node.enum!].sort()).toEqual(Object.keys(choices).sort());
});

test('every field is described and has an example that its own schema accepts', () => {
  const lacking: string[] = [];
  const walk = (path: string, node: SchemaNode): void => {
    for (const [name, field] of Object.entries(node.properties ?? {})) {
      const inner = field.items ?? field.anyOf?.find(({ type }) => type === 'object') ?? field;
      if (!field.description?.endsWith('.')) lacking.push(`${path}${name}: description`);
      if (inner.properties === undefined && field.examples === undefined) lacking.push(`${path}${name}: example`);
      walk(`${path}${name}.`, inner);
    }
  };
  walk('', captureSchema());
  expect(lacking).toEqual([]);
});

interface Draft {
  passes?: { folder?: string; clip?: string; name?: string }[];
}

/** Settings drawn from the schema; passes are numbered so that no two are the same. */
const drafts = (valuesOf(captureSchema()) as fc.Arbitrary<Draft>).map((draft) => {
  const mark = (text: string | undefined, i: number): string | undefined => (text === undefined ? text : `${i}${text}`);
  draft.passes?.forEach((entry, i) => {
    for (const field of ['folder', 'clip', 'name'] as const) {
      const text = mark(entry[field], i);
      if (text !== undefined) entry[field] = text;
    }
  });
  return draft;
});

test('whatever the schema allows comes back as it was written', () => {
  fc.assert(
    fc.property(drafts, (draft) => {
      expect(validate(draft), JSON.stringify(validate.errors)).toBe(true);
      expect(parseSettings(stringify(draft), 'capture.yaml')).toEqual(draft);
      expect(parseSettings(JSON.stringify(draft, null, 2), 'capture.yaml')).toEqual(draft);
    }),
    { seed: 7, numRuns: 300 },
  );
});

/** Every place of a plain value: the object and the key it is under. */
function placesOf(value: unknown): [Record<string, unknown>, string][] {
  if (typeof value !== 'object' || value === null) return [];
  const holder = value as Record<string, unknown>;
  return Object.keys(holder).flatMap((key) => [[holder, key] as [typeof holder, string], ...placesOf(holder[key])]);
}

const junk: fc.Arbitrary<unknown> = fc.oneof(
  fc.constantFrom(
    true,
    false,
    0,
    -1,
    0.5,
    1e6,
    'auto',
    '',
    'nonsense',
    '../x',
    '..\\..\\x',
    '/x',
    'C:\\x',
    '5-2',
    {},
    [],
  ),
  fc.constantFrom(
    { gapS: 3 },
    { gapS: 0 },
    { extra: 1 },
    { curve: 'srgb' },
    ['a', 3],
    [[1]],
    [{ folder: 'a' }],
    'x'.repeat(20_000),
  ),
);

test('a validator of its own accepts and refuses the same', () => {
  let refused = 0;
  fc.assert(
    fc.property(drafts, junk, fc.nat(), fc.constantFrom('change', 'remove', 'add'), (draft, value, choice, how) => {
      const places = placesOf(draft);
      if (places.length > 0) {
        const [holder, key] = places[choice % places.length]!;
        if (how === 'change') holder[key] = value;
        else if (how === 'remove' && !Array.isArray(holder)) delete holder[key];
        else if (!Array.isArray(holder)) holder[`${key}x`] = value;
      }
      const expected = validate(draft);
      if (!expected) refused++;
      let got = true;
      try {
        parseSettings(stringify(draft), 'capture.yaml');
      } catch (error) {
        expect(error).toBeInstanceOf(SettingsError);
        got = false;
      }
      expect(got, JSON.stringify([draft, validate.errors])).toBe(expected);
    }),
    { seed: 11, numRuns: 600 },
  );
  expect(refused).toBeGreaterThan(200);
});
