import type { OpenFile } from './tiff-tags.js';
import { aheadOfUtcMs } from './time-leap.js';
import { type ClockStamp, parseIsoStamp } from './time-text.js';

/** What a FITS header says of an exposure; each part `undefined` when it does not. */
export interface FitsFacts {
  /** When the exposure began, from DATE-OBS with TIME-OBS, DATE-BEG, MJD-OBS or MJD-BEG; UTC unless TIMESYS says otherwise. */
  readonly taken: ClockStamp | undefined;
  /** EXPTIME, or EXPOSURE. */
  readonly exposureS: number | undefined;
  /** CCD-TEMP. */
  readonly sensorTemperatureC: number | undefined;
}

/**
 * Reads the primary header and, when the primary unit holds no data and no moment, that of the first extension (FITS
 * standard 4.0, sections 4 and 9). Cards past {@link MOST_BLOCKS} are not read; a file cut short gives what it has.
 */
export async function readFits(file: OpenFile): Promise<FitsFacts> {
  const primary = await readCards(file, 0);
  const facts = factsOf(primary.cards);
  if (facts.taken !== undefined || primary.cards.get('NAXIS') !== '0') return facts;
  const extension = factsOf((await readCards(file, primary.end)).cards);
  return {
    taken: extension.taken,
    exposureS: facts.exposureS ?? extension.exposureS,
    sensorTemperatureC: facts.sensorTemperatureC ?? extension.sensorTemperatureC,
  };
}

const BLOCK_BYTES = 2880;
const CARD_BYTES = 80;
/** Blocks of one header that are read: 2304 cards. */
const MOST_BLOCKS = 64;

type Cards = ReadonlyMap<string, string>;

/** Keyword -> value as text; quotes taken off. The first of equal keywords counts. */
async function readCards(file: OpenFile, start: number): Promise<{ cards: Cards; end: number }> {
  const cards = new Map<string, string>();
  const block = Buffer.alloc(BLOCK_BYTES);
  for (let i = 0; i < MOST_BLOCKS; i++) {
    const { bytesRead } = await file.read(block, 0, BLOCK_BYTES, start + i * BLOCK_BYTES);
    for (let at = 0; at + CARD_BYTES <= bytesRead; at += CARD_BYTES) {
      const card = block.toString('latin1', at, at + CARD_BYTES);
      if (/^END {77}$/.test(card)) return { cards, end: start + (i + 1) * BLOCK_BYTES };
      const found = /^([A-Z0-9_-]{1,8}) *= *(?:'((?:[^']|'')*)'|([^/ ]*))/.exec(card);
      if (found !== null && card[8] === '=' && !cards.has(found[1]!)) {
        cards.set(found[1]!, (found[2]?.replaceAll("''", "'") ?? found[3]!).trim());
      }
    }
    if (bytesRead < BLOCK_BYTES) break;
  }
  return { cards, end: Number.MAX_SAFE_INTEGER };
}

function factsOf(cards: Cards): FitsFacts {
  const exposureS = numberOf(cards, 'EXPTIME') ?? numberOf(cards, 'EXPOSURE');
  const read =
    calendar(cards.get('DATE-OBS'), cards.get('TIME-OBS')) ??
    calendar(cards.get('DATE-BEG'), undefined) ??
    julian(cards.get('MJD-OBS')) ??
    julian(cards.get('MJD-BEG'));
  return {
    taken: read && inUtc(read, cards.get('TIMESYS') || 'UTC'),
    exposureS: exposureS !== undefined && exposureS > 0 ? exposureS : undefined,
    sensorTemperatureC: numberOf(cards, 'CCD-TEMP'),
  };
}

function numberOf(cards: Cards, name: string): number | undefined {
  const text = cards.get(name) ?? '';
  if (!/^[+-]?(\d+\.?\d*|\.\d+)([ED][+-]?\d+)?$/i.test(text)) return undefined;
  const value = Number(text.replace(/D/i, 'E'));
  return Number.isFinite(value) ? value : undefined;
}

/** A date with its time in it or beside it. Before 1998 dates were `dd/mm/yy` of the twentieth century. */
function calendar(date: string | undefined, time: string | undefined): ClockStamp | undefined {
  if (date === undefined) return undefined;
  const old = /^(\d\d)\/(\d\d)\/(\d\d)$/.exec(date);
  const day = old === null ? date : `19${old[3]}-${old[2]}-${old[1]}`;
  return parseIsoStamp(day.includes('T') || time === undefined ? day : `${day}T${time}`);
}

/** A Modified Julian Date. Day 40587 began with 1970. */
function julian(text: string | undefined): ClockStamp | undefined {
  const decimals = /^\d{4,6}\.(\d{3,})$/.exec(text ?? '')?.[1];
  if (decimals === undefined) return undefined;
  return { clockMs: (Number(text) - 40587) * 86_400_000, stepS: 86_400 * 10 ** -decimals.length, offsetMin: undefined };
}

/** A stamp that says its zone keeps it; a scale that is not known, such as a local one, leaves the zone open. */
function inUtc(read: ClockStamp, scale: string): ClockStamp {
  if (read.offsetMin !== undefined) return read;
  const aheadMs = aheadOfUtcMs(scale.toUpperCase().replace(/\(.*$/, ''), read.clockMs);
  return aheadMs === undefined ? read : { ...read, clockMs: read.clockMs - aheadMs, offsetMin: 0 };
}
