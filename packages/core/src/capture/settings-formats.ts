import { nearestName } from './settings-nearest.js';
import { parseIsoStamp } from './time-text.js';
import { isTimeZone } from './time-zone.js';

/** What a text of some format becomes, or what is wrong with it. */
export type FormatVerdict = { readonly value: string } | { readonly fault: string };

/** The formats that the schema of `capture.yaml` names. Each takes the text as written. */
export const SETTINGS_FORMATS: Readonly<Record<string, (text: string) => FormatVerdict>> = {
  'path-inside': (text) => relativePath(text, 0),
  'path-near': (text) => relativePath(text, 1),
  'path-to-table': tablePath,
  'time-zone': timeZone,
  moment,
  'frame-choice': frameChoice,
  'web-address': webAddress,
};

/** A path with either slash, made plain: forward slashes, no empty parts, at most `upMost` steps up and those first. */
function relativePath(text: string, upMost: number): FormatVerdict {
  const parts = text.split(/[\\/]/);
  if (/\p{Cc}/u.test(text)) return { fault: 'holds a control character' };
  if (parts[0] === '' || /^[A-Za-z]:/.test(text))
    return { fault: 'is not relative; give the path as seen from the capture' };
  const plain: string[] = [];
  for (const part of parts) {
    if (part === '' || part === '.') continue;
    if (part === '..' && plain.length > 0 && plain.at(-1) !== '..') plain.pop();
    else plain.push(part);
  }
  const up = plain.filter((part) => part === '..').length;
  if (up > upMost) {
    const where = upMost === 0 ? 'leads out of the capture' : 'leads further away than beside the capture';
    return { fault: `${where}; move what it names` };
  }
  return { value: plain.length === 0 ? '.' : plain.join('/') };
}

function tablePath(text: string): FormatVerdict {
  const verdict = relativePath(text, 1);
  if ('fault' in verdict || /[^/]\.cube$/i.test(verdict.value)) return verdict;
  return { fault: 'is not the path of a .cube file' };
}

function timeZone(text: string): FormatVerdict {
  if (isTimeZone(text)) return { value: text };
  const near = nearestName(text, Intl.supportedValuesOf('timeZone'));
  const hint = near === undefined ? '' : `; did you mean ${near}?`;
  return {
    fault: `is neither a zone of the IANA database, such as Europe/Zurich, nor an offset, such as '+02:00'${hint}`,
  };
}

function moment(text: string): FormatVerdict {
  if (parseIsoStamp(text) !== undefined) return { value: text };
  return { fault: 'is no moment that there is in ISO 8601, such as 2025-10-03T21:14:05.5+02:00' };
}

function frameChoice(text: string): FormatVerdict {
  const range = /^(\d+)-(\d+)$/.exec(text);
  if (range !== null && Number(range[1]) > Number(range[2])) return { fault: 'ends before it begins' };
  if (/[\\/]/.test(text)) return { fault: 'is a path; give the name alone' };
  return { value: text };
}

function webAddress(text: string): FormatVerdict {
  if (/^https?:\/\/\S+$/i.test(text) && URL.canParse(text)) return { value: text };
  return { fault: 'is no web address that begins with https:// or http://' };
}
