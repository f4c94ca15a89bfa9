/**
 * Two labels for the cells of a grid at the least cost: a minimum cut (Dinic 1970: shortest augmenting paths, level by
 * level), exact. Cells with 4 neighbours each.
 *
 * @param width cells in a row
 * @param height rows
 * @param bias what label 1 costs a cell more than label 0; infinite values force a label
 * @param across what a change of label costs between a cell and its right-hand neighbour, 0 or more
 * @param down the same towards the cell below
 * @returns label of each cell, 0 or 1
 */
export function minCut(
  width: number,
  height: number,
  bias: Float64Array,
  across: Float64Array,
  down: Float64Array,
): Uint8Array {
  const count = width * height;
  // Terminal capacities that are left: from the source where label 0 is cheaper, to the sink where label 1 is.
  const source = bias.map((b) => Math.max(0, b));
  const sink = bias.map((b) => Math.max(0, -b));
  // Capacities that are left towards the right, the left, down and up.
  const flow = [new Float64Array(count), new Float64Array(count), new Float64Array(count), new Float64Array(count)];
  const step = [1, -1, width, -width];
  for (let i = 0; i < count; i++) {
    if ((i + 1) % width !== 0) {
      flow[0]![i] = across[i]!;
      flow[1]![i + 1] = across[i]!;
    }
    if (i + width < count) {
      flow[2]![i] = down[i]!;
      flow[3]![i + width] = down[i]!;
    }
  }
  const level = new Int32Array(count);
  const queue = new Int32Array(count);
  const next = new Uint8Array(count);
  const way = new Int32Array(count);

  /** Distances from the source along what is left; false once the sink is cut off. */
  const findLevels = (): boolean => {
    level.fill(-1);
    let end = 0;
    for (let i = 0; i < count; i++) {
      if (!(source[i]! > 0)) continue;
      level[i] = 0;
      queue[end++] = i;
    }
    let reaches = false;
    for (let head = 0; head < end; head++) {
      const i = queue[head]!;
      if (sink[i]! > 0) reaches = true;
      for (let d = 0; d < 4; d++) {
        if (!(flow[d]![i]! > 0)) continue;
        const j = i + step[d]!;
        if (level[j]! >= 0) continue;
        level[j] = level[i]! + 1;
        queue[end++] = j;
      }
    }
    return reaches;
  };

  /** Pushes all that goes from one cell at the source along shortest ways. */
  const push = (start: number): void => {
    let depth = 0;
    let i = start;
    while (source[start]! > 0) {
      if (sink[i]! > 0) {
        let least = Math.min(source[start]!, sink[i]!);
        for (let p = 0, at = start; p < depth; p++) {
          least = Math.min(least, flow[way[p]!]![at]!);
          at += step[way[p]!]!;
        }
        source[start]! -= least;
        sink[i]! -= least;
        let stop = -1;
        for (let p = 0, at = start; p < depth; p++) {
          const d = way[p]!;
          flow[d]![at]! -= least;
          const to = at + step[d]!;
          flow[d ^ 1]![to]! += least;
          if (stop < 0 && !(flow[d]![at]! > 0)) stop = p;
          at = to;
        }
        if (stop >= 0) {
          depth = stop;
          i = start;
          for (let p = 0; p < depth; p++) i += step[way[p]!]!;
        }
        continue;
      }
      let isOn = false;
      for (; next[i]! < 4; next[i]!++) {
        const d = next[i]!;
        if (!(flow[d]![i]! > 0)) continue;
        const j = i + step[d]!;
        if (level[j] !== level[i]! + 1) continue;
        way[depth++] = d;
        i = j;
        isOn = true;
        break;
      }
      if (isOn) continue;
      if (depth === 0) return;
      // A dead end: back by one, and never here again in this round.
      i -= step[way[--depth]!]!;
      next[i]!++;
    }
  };

  while (findLevels()) {
    next.fill(0);
    for (let i = 0; i < count; i++) if (source[i]! > 0) push(i);
  }
  // What the source still reaches keeps label 0.
  return Uint8Array.from(level, (l) => (l >= 0 ? 0 : 1));
}
