/** A seeded source of whole numbers below a limit: mulberry32. */
export function randomFrom(seed) {
  let state = seed >>> 0;
  return (below) => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return Math.floor((((t ^ (t >>> 14)) >>> 0) / 2 ** 32) * below);
  };
}

const EXTREMES = [
  0, 1, 2, 0x7f, 0x80, 0xff, 0x7fff, 0x8000, 0xffff, 0x10000, 0x7fffffff, 0x80000000, 0xfffffffe, 0xffffffff,
];
/** Bytes at the beginning and the end that are damaged as often as all others. */
const HEADER_BYTES = 1024;

/** A copy of some bytes with one to eight faults: flipped and foreign bytes, extreme numbers, parts cut out, doubled or moved. */
export function mutate(bytes, random) {
  let out = Buffer.from(bytes);
  for (let faults = 1 + random(1 + random(8)); faults > 0 && out.length > 8; faults--)
    out = FAULTS[random(FAULTS.length)](out, random);
  return out;
}

function place(out, random, length = 1) {
  const last = Math.max(1, out.length - length);
  const near = Math.min(HEADER_BYTES, last);
  const draw = random(4);
  if (draw < 2) return random(near);
  return draw === 2 ? last - 1 - random(near) : random(last);
}

const FAULTS = [
  (out, random) => {
    const at = place(out, random);
    out[at] ^= 1 << random(8);
    return out;
  },
  (out, random) => {
    out[place(out, random)] = random(256);
    return out;
  },
  (out, random) => {
    const at = place(out, random, 4);
    const value = EXTREMES[random(EXTREMES.length)];
    if (random(2) === 0) out.writeUInt32LE(value, at);
    else out.writeUInt32BE(value, at);
    return out;
  },
  (out, random) => {
    const at = place(out, random, 2);
    const value = EXTREMES[random(9)];
    if (random(2) === 0) out.writeUInt16LE(value, at);
    else out.writeUInt16BE(value, at);
    return out;
  },
  (out, random) => out.subarray(0, 1 + place(out, random)),
  (out, random) => {
    const at = place(out, random);
    return Buffer.concat([out.subarray(0, at), out.subarray(at + 1 + random(64))]);
  },
  (out, random) => {
    const at = place(out, random);
    return Buffer.concat([out.subarray(0, at), out.subarray(at, at + 1 + random(64)), out.subarray(at)]);
  },
  (out, random) => {
    const [from, to] = [place(out, random), place(out, random)];
    out.copy(out, to, from, Math.min(out.length, from + 1 + random(64)));
    return out;
  },
  (out, random) => {
    const at = place(out, random);
    out.fill(random(2) * 255, at, Math.min(out.length, at + 1 + random(64)));
    return out;
  },
];
