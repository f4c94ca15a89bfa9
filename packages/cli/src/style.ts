/** Marks words on a terminal; leaves them alone elsewhere. */
export interface Style {
  dim(text: string): string;
  red(text: string): string;
}

/** Whether a stream wants colour: a terminal that can, and nobody has asked for none. */
export function wantsColour(
  stream: { readonly isTTY?: boolean },
  asked: boolean,
  env: NodeJS.ProcessEnv = process.env,
): boolean {
  return asked && stream.isTTY === true && !env.NO_COLOR && env.TERM !== 'dumb';
}

/** The marks, or none of them. */
export function createStyle(colour: boolean): Style {
  const mark = (on: number, off: number) => (text: string) => (colour ? `\x1b[${on}m${text}\x1b[${off}m` : text);
  return { dim: mark(2, 22), red: mark(31, 39) };
}

/** Names of passes are names of folders: a control character in one must not reach the terminal. */
export function printable(text: string): string {
  return text.replace(/\p{Cc}/gu, '?');
}
