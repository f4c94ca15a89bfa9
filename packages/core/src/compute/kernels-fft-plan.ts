/** The lengths that can be transformed: products of 2, 3 and 5 from {@link SMALLEST_FFT} on, even along rows. */
export const SMALLEST_FFT = 16;

/** Whether rows (`even`) or columns of this length can be transformed. */
export function isFftLength(n: number, even: boolean): boolean {
  if (!Number.isInteger(n) || n < SMALLEST_FFT || (even && n % 2 !== 0)) return false;
  let rest = n;
  for (const p of [2, 3, 5]) while (rest % p === 0) rest /= p;
  return rest === 1;
}

/** The smallest even length from `n` on that can be transformed. */
export function nextFftLength(n: number): number {
  let length = Math.max(SMALLEST_FFT, Math.ceil(n));
  while (!isFftLength(length, true)) length++;
  return length;
}

/** The table that the module needs for a complex transform of length n; see packages/core/kernels/fft-line.ts. */
export function fftPlan(n: number): Uint8Array {
  const known = plans.get(n);
  if (known) return known;
  const radices = radicesOf(n);
  const header = 3 + 3 * radices.length;
  const last = radices[radices.length - 1]!;
  const places = placesOf(radices);
  const ints = new Int32Array(header + places.length);
  const floats: number[] = [];
  ints.set([n, radices.length, 4 * header]);
  let block = n;
  for (const [pass, radix] of radices.entries()) {
    ints.set([radix, block, 4 * (ints.length + floats.length)], 3 + 3 * pass);
    if (pass < radices.length - 1) for (let j = 0; j < block / radix; j++) pushTwiddles(floats, j, radix, block);
    block /= radix;
  }
  if (block !== 1 || places.length * last !== n) throw new RangeError(`no plan for a transform of length ${n}`);
  ints.set(places, header);
  const bytes = new Uint8Array(4 * (ints.length + floats.length));
  bytes.set(new Uint8Array(ints.buffer));
  bytes.set(new Uint8Array(Float32Array.from(floats).buffer), 4 * ints.length);
  plans.set(n, bytes);
  return bytes;
}

/** cos and sin of −2πk/n for k = 0 … n/4. */
export function fftTurns(n: number): Float32Array {
  const known = turns.get(n);
  if (known) return known;
  const table = new Float32Array(2 * (Math.floor(n / 4) + 1));
  for (let k = 0; k < table.length / 2; k++) table.set([cosTurn(k, n), -sinTurn(k, n)], 2 * k);
  turns.set(n, table);
  return table;
}

const plans = new Map<number, Uint8Array>();
const turns = new Map<number, Float32Array>();

/** The radices of the passes, at least two of them. */
function radicesOf(n: number): number[] {
  if (n === 8) return [4, 2];
  const radices: number[] = [];
  let rest = n;
  for (const radix of [5, 3]) {
    for (; rest % radix === 0; rest /= radix) radices.push(radix);
  }
  // Eights, so far as fours or a two can do the rest.
  for (; rest % 8 === 0 && rest !== 16; rest /= 8) radices.push(8);
  for (; rest % 4 === 0; rest /= 4) radices.push(4);
  if (rest === 2) radices.push(2);
  return radices;
}

/** Where the outputs of each butterfly of the last pass begin. */
function placesOf(radices: readonly number[]): number[] {
  let places = [0];
  let weight = 1;
  for (const radix of radices.slice(0, -1)) {
    const step = weight;
    places = places.flatMap((place) => Array.from({ length: radix }, (_, digit) => place + digit * step));
    weight *= radix;
  }
  return places;
}

function pushTwiddles(floats: number[], j: number, radix: number, block: number): void {
  for (let p = 1; p < radix; p++) floats.push(cosTurn(j * p, block), -sinTurn(j * p, block));
}

function cosTurn(k: number, n: number): number {
  return Math.cos((2 * Math.PI * (k % n)) / n);
}

function sinTurn(k: number, n: number): number {
  return Math.sin((2 * Math.PI * (k % n)) / n);
}
