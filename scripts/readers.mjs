// Writes small plates with every writer, opens each with programs that are not ours, and compares what they read with what
// was meant: pixels, profile, XMP, alpha, pages; then what a browser shows of a whole run. A line each; fails on a difference,
// and on a program that is missing. Astropy has no part in it: it reads FITS, which is read here but never written.
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { BROWSER, openInBrowser } from './readers-browser.mjs';
import { makeFiles, XMP_TITLE } from './readers-files.mjs';

const PACKAGES = {
  tiffinfo: 'libtiff-tools',
  tiffcp: 'libtiff-tools',
  identify: 'imagemagick',
  convert: 'imagemagick',
  exiftool: 'libimage-exiftool-perl',
  ffmpeg: 'ffmpeg',
  exrheader: 'openexr',
  [BROWSER]: 'chromium',
  '/usr/bin/python3': 'python3 python3-numpy python3-tifffile',
};

const folder = mkdtempSync(join(tmpdir(), 'plenilune-readers-'));
let failed = 0;
try {
  requirePrograms();
  const files = await makeFiles(folder);
  for (const file of files.tiffs) lookAtTiff(file);
  for (const file of files.exrs) lookAtExr(file);
  lookAtPng(files.png);
  lookAtTiles(files.zoom);
  await lookWithBrowser();
} finally {
  rmSync(folder, { recursive: true, force: true });
}
say(failed === 0 ? 'every reader agrees' : `${failed} readings differ`);
process.exitCode = failed === 0 ? 0 : 1;

function say(line) {
  process.stdout.write(`${line}\n`);
}

function requirePrograms() {
  const missing = Object.entries(PACKAGES).filter(([name]) => {
    const args = name.endsWith('python3')
      ? ['-c', 'import numpy, tifffile']
      : [name === BROWSER ? '--version' : '-version'];
    const { error, status } = spawnSync(name, args);
    return error !== undefined || (name.endsWith('python3') && status !== 0);
  });
  if (missing.length === 0) return;
  for (const [name, apt] of missing) say(`${name} is missing: apt-get install ${apt}`);
  rmSync(folder, { recursive: true, force: true });
  process.exit(1);
}

/** Runs a program; its output as text, or as bytes. */
function run(name, args, encoding = 'utf8') {
  const { status, stdout, stderr } = spawnSync(name, args, { encoding, maxBuffer: 1 << 28 });
  if (status !== 0) throw new Error(`${name} ends with ${status}: ${String(stderr).trim()}`);
  return { out: stdout, err: String(stderr) };
}

/** One line: what a reader says of a file. `look` gives the fact to print, or throws what is wrong. */
function report(reader, file, look) {
  try {
    say(`ok    ${reader.padEnd(11)} ${file.name.padEnd(24)} ${look()}`);
  } catch (error) {
    failed++;
    say(`FAIL  ${reader.padEnd(11)} ${file.name.padEnd(24)} ${error.message}`);
  }
}

function expectIn(text, ...parts) {
  for (const part of parts) if (!text.includes(part)) throw new Error(`says nothing of "${part}"`);
}

/** Samples that were read against those that were meant, both as lists of numbers. */
function compare(read, meant, tolerance) {
  if (read.length !== meant.length) throw new Error(`${read.length} samples, ${meant.length} were written`);
  let worst = 0;
  for (let i = 0; i < meant.length; i++) {
    const off = Math.abs(read[i] - meant[i]);
    if (!(off <= tolerance)) throw new Error(`sample ${i} is ${read[i]}, ${meant[i]} was meant (within ${tolerance})`);
    worst = Math.max(worst, off);
  }
  return `${meant.length} samples, off by ${worst} at most`;
}

function words(bytes) {
  return new Uint16Array(aligned(bytes));
}

function floats(bytes) {
  return new Float32Array(aligned(bytes));
}

function aligned({ buffer, byteOffset, byteLength }) {
  return buffer.slice(byteOffset, byteOffset + byteLength);
}

async function lookWithBrowser() {
  const { looks, close } = await openInBrowser(folder);
  try {
    for (const { name, look } of looks) {
      const fact = await look().then(
        (text) => () => text,
        (error) => () => {
          throw error;
        },
      );
      report('Chromium', { name }, fact);
    }
  } finally {
    await close();
  }
}

function lookAtTiff(file) {
  report('tiffinfo', file, () => {
    const { out, err } = run('tiffinfo', ['-D', file.path]);
    if (err !== '') throw new Error(err.trim());
    const pages = out.split('TIFF Directory').length - 1;
    if (pages !== file.pages) throw new Error(`${pages} pages, ${file.pages} were written`);
    if (file.alpha) expectIn(out, 'Extra Samples: 1<unassoc-alpha>');
    return `${pages} pages, every tile read, no warning`;
  });
  const plain = `${file.path}.plain.tif`;
  report('tiffcp', file, () => {
    const { err } = run('tiffcp', ['-c', 'none', file.path, plain]);
    if (err !== '') throw new Error(err.trim());
    return 'copied without compression';
  });
  report('tifffile', file, () => {
    const meant = `${file.path}.meant`;
    writeFileSync(meant, Buffer.from(file.meant.buffer));
    const script = fileURLToPath(new URL('readers.py', import.meta.url));
    const facts = JSON.parse(run('/usr/bin/python3', [script, file.path, plain, meant, String(file.tolerance)]).out);
    if (facts.fault) throw new Error(facts.fault);
    if (facts.levels !== file.pages) throw new Error(`${facts.levels} levels, ${file.pages} were written`);
    if (facts.icc !== (file.profile?.toString('hex') ?? null)) throw new Error('another profile than was written');
    if ((facts.xmp ?? '').includes(XMP_TITLE) !== file.xmp) throw new Error('another XMP packet than was written');
    return `${facts.levels} levels, off by ${facts.worst} at most${file.profile ? ', profile' : ''}${file.xmp ? ', XMP' : ''}`;
  });
  report('exiftool', file, () => lookWithExiftool(file));
  if (file.kind === 'float') return;
  report('ImageMagick', file, () => {
    const { out } = run('identify', ['-verbose', `${file.path}[0]`]);
    if (file.profile) expectIn(out, 'Profile-icc');
    if (file.xmp) expectIn(out, 'Profile-xmp');
    if (file.alpha) expectIn(out, 'alpha: 16-bit', 'tiff:alpha: unassociated');
    const format = file.alpha ? 'rgba' : 'gray';
    const bytes = run('convert', [`${file.path}[0]`, '-endian', 'LSB', '-depth', '16', `${format}:-`], 'buffer').out;
    return compare(words(bytes), file.meant, file.tolerance);
  });
  if (!file.inSrgb) return;
  report('lcms', file, () => {
    // Through ImageMagick: its colours, seen in sRGB, are those that were meant.
    const { profile, codes } = file.inSrgb;
    writeFileSync(`${file.path}.icc`, profile);
    const options = ['-alpha', 'off', '-intent', 'relative', '-profile', `${file.path}.icc`];
    const args = [`${file.path}[0]`, ...options, '-endian', 'LSB', '-depth', '16', 'rgb:-'];
    return compare(words(run('convert', args, 'buffer').out), codes, 160);
  });
}

function lookWithExiftool(file) {
  const [facts] = JSON.parse(run('exiftool', ['-j', '-a', '-G1', file.path]).out);
  const all = JSON.stringify(facts);
  if (/Warning|Error/.test(Object.keys(facts).join(' '))) throw new Error(all);
  if (file.xmp) expectIn(all, XMP_TITLE);
  if (file.title) expectIn(all, file.title);
  // Of a BigTIFF it gives the size of the last page as that of the picture; the first page's own size is right.
  const [width, height] = ['ImageWidth', 'ImageHeight'].map((name) => facts[`IFD0:${name}`] ?? facts[`PNG:${name}`]);
  if (width === undefined) expectIn(all, `${file.width}x${file.height}`);
  else if (width !== file.width || height !== file.height) throw new Error(`${width}x${height}`);
  return [`${file.width}x${file.height}`, file.title, file.xmp && 'XMP'].filter(Boolean).join(', ');
}

function lookAtExr(file) {
  report('exrheader', file, () => {
    const { out } = run('exrheader', [file.path]);
    const type = file.kind === 'half' ? '16-bit floating-point' : '32-bit floating-point';
    expectIn(out, type, 'zip, multi-scanline blocks', ' A, ', ' R, ', ...file.chromaticities);
    return `${type}, ZIP, chromaticities`;
  });
  report('FFmpeg', file, () => {
    const args = ['-v', 'error', '-i', file.path, '-f', 'rawvideo', '-pix_fmt', 'gbrapf32le', '-'];
    return compare(floats(run('ffmpeg', args, 'buffer').out), file.meant, file.tolerance);
  });
  report('exiftool', file, () => lookWithExiftool(file));
}

function lookAtPng(file) {
  report('ImageMagick', file, () => {
    expectIn(run('identify', ['-verbose', file.path]).out, 'Profile-icc', 'alpha: 16-bit');
    const bytes = run('convert', [file.path, '-endian', 'LSB', '-depth', '16', 'rgba:-'], 'buffer').out;
    return compare(words(bytes), file.meant, 0);
  });
  report('FFmpeg', file, () => {
    const args = ['-v', 'error', '-i', file.path, '-f', 'rawvideo', '-pix_fmt', 'rgba64le', '-'];
    return compare(words(run('ffmpeg', args, 'buffer').out), file.meant, 0);
  });
  report('exiftool', file, () => lookWithExiftool(file));
}

function lookAtTiles({ path, tiles }) {
  const text = readFileSync(path, 'utf8');
  report('ImageMagick', { name: 'plate.dzi' }, () => {
    expectIn(text, 'Overlap="1"', 'TileSize="254"');
    for (const { file, width, height, mean } of tiles) {
      const [w, h, m] = run('convert', [file, '-format', '%w %h %[fx:mean]', 'info:']).out.split(' ').map(Number);
      if (w !== width || h !== height) throw new Error(`${file} is ${w}x${h}, ${width}x${height} was meant`);
      if (Math.abs(m - mean) > 0.004) throw new Error(`${file} has a mean of ${m}, ${mean} was meant`);
    }
    return `${tiles.length} tiles of the right size and mean`;
  });
}
