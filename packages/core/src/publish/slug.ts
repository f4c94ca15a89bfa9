/**
 * A title as the name of files that every system takes: lower-case letters of English and digits, parted by dashes, 60 at
 * most. `plate` where nothing is left.
 */
export function slugOf(title: string): string {
  const plain = title
    .normalize('NFKD')
    .toLowerCase()
    .replace(/\p{M}/gu, '')
    .replace(/[^a-z0-9]+/g, '-')
    .slice(0, MOST_CHARACTERS)
    .replace(/^-+|-+$/g, '');
  if (plain === '') return 'plate';
  return RESERVED.test(plain) ? `plate-${plain}` : plain;
}

const MOST_CHARACTERS = 60;
/** Names that one system keeps for its devices. */
const RESERVED = /^(con|prn|aux|nul|com\d|lpt\d)$/;
