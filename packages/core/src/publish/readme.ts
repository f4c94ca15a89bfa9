import { LICENCE_FILE, type PackKind, type PackListing } from './listing.js';

/** What lies beside the pictures, for people: `README.txt`. */
export function readmeOf(listing: PackListing): string {
  const { title, description, rights, credit, licence, statementUrl, licensor, pictures, plate, copies } = listing;
  const names = Math.max(...pictures.map(({ file }) => file.length));
  const sizes = pictures.map(({ file, kind, widthPx, heightPx, format, bitsPerSample, bytes, marked }) => {
    const size = `${widthPx} x ${heightPx} px`;
    const amount = bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
    const mark = marked ? ', marked' : '';
    return `  ${file.padEnd(names)}  ${size}, ${bitsPerSample}-bit ${format}, ${amount}: ${USES[kind]}${mark}`;
  });
  const notes = [
    'All pictures carry the profile of their colours, and title, description, keywords and rights (IPTC, as XMP).',
    coloursNote(listing),
    'The master is the plate as it was stitched.',
    ALPHAS[plate.alpha],
    `In the JPEGs its light is taken times ${copies.gain.toFixed(3)}.${partNote(listing)}`,
    ...(plate.synthetic ? ['The plate is synthetic: a program drew the frames that it is joined from.'] : []),
    ...(plate.complete ? [] : ['The plate is incomplete: a part of the disc is missing.']),
    ...listing.leftOut.map(({ item, detail }) => `Left out: ${item}: ${detail}`),
  ];
  return [
    ...[title, '='.repeat(Math.min(100, [...title].length)), '', description, ''],
    ...['Pictures', ...sizes, ''],
    ...['Rights', `  ${rights}`, `  Licence: ${licence.name}${licence.id === null ? '' : ` (${licence.id})`}`],
    ...[`  Its text: ${LICENCE_FILE}`, ...(licence.url === null ? [] : [`  Explained at: ${licence.url}`])],
    ...(statementUrl === null || statementUrl === licence.url ? [] : [`  Stated at: ${statementUrl}`]),
    ...[`  Credit: ${credit}`, `  Licensor: ${licensor.name}${licensor.url === null ? '' : `, ${licensor.url}`}`, ''],
    ...['Notes', ...notes.map((note) => `  ${note}`), ''],
    ...['For programs', '  listing.csv, listing.json: the same in a form to be read in'],
    ...['  SHA256SUMS: "sha256sum -c SHA256SUMS" says whether all files are as they were', ''],
  ].join('\n');
}

const USES: Readonly<Record<PackKind, string>> = {
  master: 'the master',
  full: 'at full size',
  sized: 'made smaller',
  preview: 'to look at',
  thumbnail: 'for lists',
};

const ALPHAS: Readonly<Record<PackListing['plate']['alpha'], string>> = {
  coverage: 'It is transparent where no light was recorded, and opaque everywhere else.',
  'coverage-and-matte':
    'It is transparent where no light was recorded and outside of the disc; along its edge in part, as the disc fills a pixel.',
};

function coloursNote({ pictures }: PackListing): string {
  const { colourSpace } = pictures.find(({ kind }) => kind === 'master')!;
  const copies = new Set(pictures.filter(({ kind }) => kind !== 'master').map((copy) => copy.colourSpace));
  if (copies.size === 1 && copies.has(colourSpace)) return `Colours of all: ${colourSpace}.`;
  return `Colours of the master: ${colourSpace}; of the JPEGs: ${[...copies].join(', ')}.`;
}

function partNote({ copies: { part }, plate }: PackListing): string {
  if (part.widthPx === plate.widthPx && part.heightPx === plate.heightPx)
    return ' What is not covered is black in them.';
  return ` They leave out the ragged edge: they begin at column ${part.x} and row ${part.y} of the master.`;
}
