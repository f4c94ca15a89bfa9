import type { ByteSource } from './byte-source.js';
import type { FormatFacts } from './still-header.js';

/** What the header of a PGM, PPM, PAM or PFM says. */
export interface PnmHeader {
  readonly magic: 'P2' | 'P3' | 'P5' | 'P6' | 'P7' | 'PF' | 'Pf';
  readonly widthPx: number;
  readonly heightPx: number;
  /** Samples of a pixel, alpha included. */
  readonly depth: number;
  readonly alpha: boolean;
  /** Code that means 1; 1 in a PFM. */
  readonly maximum: number;
  /** Byte order of a PFM. */
  readonly littleEndian: boolean;
  readonly dataOffset: number;
}

const HEAD_BYTES = 4096;

/** The facts of the first picture of a PGM, PPM, PAM or PFM. Throws a plain `Error` with the cause when it is refused. */
export async function judgePnm(source: ByteSource): Promise<FormatFacts> {
  const header = await readPnmHeader(source);
  const { magic, widthPx, heightPx, depth, alpha, maximum, dataOffset } = header;
  const float = magic === 'PF' || magic === 'Pf';
  const text = magic === 'P2' || magic === 'P3';
  const bits = float ? 32 : maximum > 255 ? 16 : 8;
  const samples = widthPx * heightPx * depth;
  // In text a sample takes a digit and a blank, of which the last may lack its blank.
  const end = dataOffset + (text ? samples * 2 - 1 : (samples * bits) / 8);
  if (end > source.sizeBytes) {
    throw new Error(`it is cut short: ${end} bytes are needed, the file has ${source.sizeBytes} bytes`);
  }
  const notes: string[] = [];
  if (
    !text &&
    !float &&
    /^P[1-7]$/.test((await source.read(end, Math.min(2, source.sizeBytes - end))).toString('latin1'))
  )
    notes.push('The file holds several pictures; the first one is used.');
  if (alpha) notes.push('The alpha channel is dropped.');
  return {
    storedWidthPx: widthPx,
    storedHeightPx: heightPx,
    channels: depth - (alpha ? 1 : 0) === 1 ? 1 : 3,
    alpha: alpha ? 'separate' : 'none',
    bitsPerSample: bits,
    samples: float ? 'float' : 'unsigned',
    orientation: 1,
    icc: undefined,
    declared: undefined,
    notes,
    ...(float ? {} : { scale: { zero: 0, white: maximum } }),
  };
}

/**
 * Reads the header of the first picture. Netpbm's descriptions of PGM, PPM, PAM and PFM.
 * Throws a plain `Error` that says what is wrong with it.
 */
export async function readPnmHeader(source: ByteSource): Promise<PnmHeader> {
  const head = (await source.read(0, Math.min(HEAD_BYTES, source.sizeBytes))).toString('latin1');
  const magic = head.slice(0, 2);
  if (magic === 'P1' || magic === 'P4') throw new Error('it has 1 bit per sample, which holds no shades');
  if (magic === 'P7') return pamHeader(head);
  if (magic === 'PF' || magic === 'Pf') return pfmHeader(head, magic);
  if (magic !== 'P2' && magic !== 'P3' && magic !== 'P5' && magic !== 'P6') throw new Error(`it begins with ${magic}`);
  const gap = '(?:\\s+|#[^\\n\\r]*[\\n\\r])+';
  const found = new RegExp(`^P.${gap}(\\d+)${gap}(\\d+)${gap}(\\d+)(?:#[^\\n\\r]*[\\n\\r]|\\s)`).exec(head);
  if (found === null) throw new Error('its header is damaged');
  return checked({
    magic,
    widthPx: Number(found[1]),
    heightPx: Number(found[2]),
    depth: magic === 'P2' || magic === 'P5' ? 1 : 3,
    alpha: false,
    maximum: Number(found[3]),
    littleEndian: false,
    dataOffset: found[0].length,
  });
}

function pamHeader(head: string): PnmHeader {
  const end = /^ENDHDR[ \t\r]*\n/m.exec(head);
  if (end === null) throw new Error('its header has no end');
  const lines = head.slice(0, end.index).split('\n');
  const value = (name: string): string =>
    lines
      .find((line) => line.startsWith(`${name} `))
      ?.slice(name.length)
      .trim() ?? '';
  const depth = Number(value('DEPTH'));
  const type = value('TUPLTYPE');
  const alpha = depth === 2 || depth === 4;
  const colours = depth <= 2 ? 'GRAYSCALE' : 'RGB';
  if (![1, 2, 3, 4].includes(depth) || (type !== '' && type !== (alpha ? `${colours}_ALPHA` : colours))) {
    throw new Error(`its ${depth} channels are ${type || 'not named'}, not RGB or grey`);
  }
  return checked({
    magic: 'P7',
    widthPx: Number(value('WIDTH')),
    heightPx: Number(value('HEIGHT')),
    depth,
    alpha,
    maximum: Number(value('MAXVAL')),
    littleEndian: false,
    dataOffset: end.index + end[0].length,
  });
}

function pfmHeader(head: string, magic: 'PF' | 'Pf'): PnmHeader {
  const found = /^P[Ff]\s+(\d+)\s+(\d+)\s+([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s/.exec(head);
  if (found === null) throw new Error('its header is damaged');
  return checked({
    magic,
    widthPx: Number(found[1]),
    heightPx: Number(found[2]),
    depth: magic === 'PF' ? 3 : 1,
    alpha: false,
    maximum: 1,
    littleEndian: Number(found[3]) < 0,
    dataOffset: found[0].length,
  });
}

function checked(header: PnmHeader): PnmHeader {
  const { widthPx, heightPx, maximum } = header;
  if (!(widthPx >= 1 && heightPx >= 1)) throw new Error(`it announces ${widthPx} x ${heightPx} pixels`);
  if (!(Number.isInteger(maximum) && maximum >= 1 && maximum <= 65535))
    throw new Error(`its largest code is ${maximum}`);
  return header;
}
