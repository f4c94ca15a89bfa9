import { runInNewContext } from 'node:vm';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { Html, html, inlineJson, inlineScript } from './html.js';

test('values are escaped, lists are joined, nothing is nothing, and HTML stays as it is', () => {
  const name = '<img src=x onerror="alert(1)">&\'`';
  expect(html`<p title="${name}">${name}</p>`.text).not.toMatch(/<img|onerror="/);
  expect(html`<b>${[1, 'a<', html`<i>${2}</i>`]}${null}${false}</b>`.text).toBe('<b>1a&#60;<i>2</i></b>');
  expect(html`${new Html('<hr>')}`.text).toBe('<hr>');
});

test('JSON comes back as it was, whatever its text, and cannot end its element', () => {
  fc.assert(
    fc.property(fc.json(), fc.constantFrom('</script>', '<!--', '\u2028', '&lt;'), (text, hostile) => {
      const value = [JSON.parse(text) as unknown, hostile];
      const inlined = inlineJson(value).text;
      expect(inlined).not.toMatch(/[<>&\u2028\u2029]/);
      expect(JSON.parse(inlined)).toEqual(JSON.parse(JSON.stringify(value)));
    }),
    { seed: 7 },
  );
});

test('a program that speaks of scripts does the same and cannot end its element', () => {
  const inlined = inlineScript('out = ["</script>", "</SCRIPT >", "<!--"];');
  expect(inlined).not.toMatch(/<\/script|<!--/i);
  expect(runInNewContext(inlined)).toEqual(['</script>', '</SCRIPT >', '<!--']);
});
