import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { SettingsError, type SettingsFault } from './settings-fault.js';
import { MOST_SETTINGS_BYTES, parseSettings } from './settings-read.js';

function faultsOf(text: string | Uint8Array): readonly SettingsFault[] {
  try {
    parseSettings(text, 'night/capture.yaml');
  } catch (error) {
    expect(error).toBeInstanceOf(SettingsError);
    return (error as SettingsError).faults;
  }
  return [];
}

/** `line:column message` of every fault. */
function told(text: string | Uint8Array): string[] {
  return faultsOf(text).map(({ line, column, message }) => `${line}:${column} ${message}`);
}

describe('texts that mean harm or are broken', () => {
  test.each<[string, string | Uint8Array, RegExp]>([
    ['a field twice', 'title: a\ntitle: b', /^2:1 this field is given twice/],
    ['a tab', 'site:\n\theightM: 3', /^2:1 a tab begins the line/],
    ['a tag of a language', 'title: !!js/function "x"', /^1:8 this tag is not understood/],
    ['a tag', 'title: !!str 12', /^1:14 this has a tag/],
    ['binary', 'title: !!binary aGk=', /^1:8 this tag is not understood/],
    ['an alias', 'title: &a x\nnotes: *a', /^2:8 \*a repeats another place/],
    ['another version', '%YAML 1.1\n---\ntitle: x', /^1:1 this is YAML 1\.1/],
    ['two documents', 'title: a\n---\ntitle: b', /^2:1 a second document/],
    ['an open bracket', 'passes: [', /^1:10 /],
    ['an open quote', 'title: "x', /^1:10 /],
    ['UTF-16', Buffer.from('\ufefftitle: x', 'utf16le'), /^1:1 it is UTF-16/],
    ['Latin-1', Buffer.from('title: Z\xfcrich', 'latin1'), /^1:1 it is not UTF-8/],
    ['noughts', Buffer.alloc(100), /^1:1 /],
    ['too many bytes', 'x'.repeat(MOST_SETTINGS_BYTES + 1), /^1:1 it holds more than 65536 bytes/],
  ])('%s', (_, text, fault) => {
    expect(told(text)[0]).toMatch(fault);
  });

  test('every alias of a bomb is refused before anything is expanded', () => {
    const layers = Array.from({ length: 20 }, (_, i) => `a${i}: &a${i} [${`*a${i - 1},`.repeat(9)}]`);
    expect(faultsOf(['a: &a-1 x', ...layers].join('\n')).filter(({ message }) => message.startsWith('*'))).toHaveLength(
      180,
    );
  });

  const N = MOST_SETTINGS_BYTES;
  test.each<[string, string]>([
    ['[', '['.repeat(N)],
    ['{a: ', '{a: '.repeat(N / 4)],
    ['- ', '- '.repeat(N / 2)],
    ['? ', '? '.repeat(N / 2)],
    ['[]', '[]'.repeat(N / 2)],
    ['&a', '&a '.repeat(N / 4)],
    ['! ', '! '.repeat(N / 2)],
    ['"\\', `"${'\\'.repeat(N - 1)}`],
    ['keys', Array.from({ length: N / 16 }, (_, i) => `k${i}: 1`).join('\n')],
    ['steps', Array.from({ length: 350 }, (_, i) => `${' '.repeat(i)}a:`).join('\n')],
    ['steps of dashes', Array.from({ length: 60 }, (_, i) => `${' '.repeat(16 * i)}${'- '.repeat(8)}`).join('\n')],
    [':', ':'.repeat(N)],
    ['---', '---\n'.repeat(N / 4)],
    ['%', '%a\n'.repeat(N / 4)],
  ])('as many %s as fit are refused within 3 s of processor time', (_, text) => {
    const before = process.cpuUsage();
    expect(faultsOf(text).length).toBeGreaterThan(0);
    expect(process.cpuUsage(before).user / 1e6).toBeLessThan(3);
  });

  test('whatever the text, there are settings or faults with places in it', () => {
    const bits = fc.constantFrom(
      ...[
        'title',
        'site',
        'passes',
        ': ',
        ':\n',
        '\n',
        '  ',
        '- ',
        '[',
        ']',
        '{',
        '}',
        ', ',
        '"',
        "'",
        '|',
        '>',
        '#',
        '&a',
        '*a',
        '!!x ',
      ],
      ...[
        '0-12',
        '1',
        '.nan',
        'true',
        '~',
        '\t',
        '\r\n',
        '%',
        '---',
        '...',
        '?',
        '\u0000',
        '\ud800',
        'é',
        '<<',
        '@',
        '`',
        'folder',
      ],
    );
    fc.assert(
      fc.property(fc.array(bits, { maxLength: 40 }), (parts) => {
        const text = parts.join('');
        const lines = text.split('\n').length;
        for (const { line, column, message } of faultsOf(text)) {
          expect(line).toBeGreaterThanOrEqual(1);
          expect(line).toBeLessThanOrEqual(lines + 1);
          expect(column).toBeGreaterThanOrEqual(1);
          expect(message).not.toBe('');
        }
      }),
      { seed: 13, numRuns: 3000 },
    );
  });

  test('whatever the bytes, there are settings or faults', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) => {
        faultsOf(bytes);
      }),
      { seed: 17, numRuns: 1000 },
    );
  });
});
