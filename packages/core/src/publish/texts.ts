import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { sha256File } from '../capture/hash.js';
import type { Licence } from './licences.js';
import { LICENCE_FILE, LISTING_FILE, listingTable, type PackListing } from './listing.js';
import { SUMS_FILE } from './pack-folder.js';
import { readmeOf } from './readme.js';

/** Writes what lies beside the pictures of a pack: licence, listing, words for people, and the hashes of every other file. */
export async function writeTexts(folder: string, listing: PackListing, licence: Licence): Promise<void> {
  const texts: readonly (readonly [string, string])[] = [
    [LICENCE_FILE, licence.text],
    ['README.txt', readmeOf(listing)],
    ['listing.csv', listingTable(listing)],
    [LISTING_FILE, `${JSON.stringify(listing, null, 2)}\n`],
  ];
  const sums = new Map(listing.pictures.map(({ file, sha256 }) => [file, sha256]));
  for (const [name, text] of texts) {
    const path = join(folder, name);
    await writeFile(path, text, { flag: 'wx' });
    sums.set(name, await sha256File(path));
  }
  // In the form that sha256sum writes and checks; names hold nothing that it would have to escape.
  const lines = [...sums].sort(([a], [b]) => (a < b ? -1 : 1)).map(([name, sha256]) => `${sha256}  ${name}\n`);
  await writeFile(join(folder, SUMS_FILE), lines.join(''), { flag: 'wx' });
}
