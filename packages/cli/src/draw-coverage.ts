import type { CoverageGrid } from '@plenilune/core';

/** Squares that a character stands for, downwards: characters are about twice as high as wide. */
const ROWS = 2;

/**
 * The disc as the frames show it, drawn with characters: 1 to 9, and + for more, sharp frames on lit ground; `:` dark ground;
 * `!` lit ground that is shown blurred only, `?` what no frame shows.
 */
export function drawCoverage({ side, sharpFrames, lit }: CoverageGrid): string[] {
  const lines: string[] = [];
  for (let row = 0; row < side; row += ROWS) {
    let line = '  ';
    for (let column = 0; column < side; column++) {
      const at = row * side + column;
      line += markOf(sharpFrames[at]!, lit[at]!);
    }
    lines.push(line.trimEnd());
  }
  return [
    ...lines,
    '',
    'Sharp frames on lit ground: 1 to 9, + for more, ! none. Dark ground: a colon. Not shown: ?',
    '',
  ];
}

function markOf(frames: number, isLit: boolean): string {
  if (frames < 0) return ' ';
  if (!isLit) return frames > 0 ? ':' : '?';
  if (frames === 0) return '!';
  return frames > 9 ? '+' : String(frames);
}
