/** A seeded source of random numbers: the same seed gives the same sequence on every machine. */
export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Fills an array with what as many calls of `uniform` would give, faster. */
  uniforms(into: Float64Array): void;
  /** Standard normal. */
  normal(): number;
  /** Poisson with the given mean; a rounded normal above a mean of 60. */
  poisson(mean: number): number;
  /** An independent source, derived from this one's seed and a label, whatever has been drawn before. */
  fork(label: string): Random;
}

/**
 * Small fast counter-free generator (sfc32) seeded by a 32-bit hash of the seed. Only integer operations and
 * IEEE arithmetic, so sequences agree across machines; `normal` uses Math.log/sqrt/cos, which V8 computes in software.
 */
export function createRandom(seed: number | string): Random {
  let a = hash32(`${seed}/a`);
  let b = hash32(`${seed}/b`);
  let c = hash32(`${seed}/c`);
  let d = 1;
  const next = (): number => {
    const t = (((a + b) | 0) + d) | 0;
    d = (d + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = ((c << 21) | (c >>> 11)) + t;
    c |= 0;
    return t >>> 0;
  };
  for (let i = 0; i < 12; i++) next();
  const uniform = (): number => next() / 4294967296;
  const uniforms = (into: Float64Array): void => {
    let [p, q, r, n] = [a, b, c, d];
    for (let i = 0; i < into.length; i++) {
      const t = (((p + q) | 0) + n) | 0;
      n = (n + 1) | 0;
      p = q ^ (q >>> 9);
      q = (r + (r << 3)) | 0;
      r = (((r << 21) | (r >>> 11)) + t) | 0;
      into[i] = (t >>> 0) / 4294967296;
    }
    [a, b, c, d] = [p, q, r, n];
  };
  const normal = (): number => {
    const radius = Math.sqrt(-2 * Math.log(1 - uniform()));
    return radius * Math.cos(2 * Math.PI * uniform());
  };
  const poisson = (mean: number): number => {
    if (mean <= 0) return 0;
    if (mean > 60) return Math.max(0, Math.round(mean + Math.sqrt(mean) * normal()));
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = uniform(); product > limit; product *= uniform()) count++;
    return count;
  };
  return { uniform, uniforms, normal, poisson, fork: (label) => createRandom(`${seed}/${label}`) };
}

/** FNV-1a over UTF-16 code units, with a final avalanche. */
function hash32(text: string): number {
  let h = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193);
  h ^= h >>> 16;
  h = Math.imul(h, 0x85ebca6b);
  h ^= h >>> 13;
  return h | 0;
}
