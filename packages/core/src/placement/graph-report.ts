import { cornersPx, type LinkCheck } from './graph-check.js';
import type { Decision } from './graph-decide.js';
import { shortLoops } from './graph-loops.js';
import { DOF } from './graph-matrix.js';
import type { Fate, Link, Problem } from './graph-problem.js';
import { hang, pathBetween, shallowTree } from './graph-tree.js';
import {
  type EdgeVerdict,
  type GraphGroup,
  type GraphSolution,
  type StripReason,
  type StripVerdict,
  UNDETERMINED_PX,
} from './graph-types.js';
import type { Consensus } from './graph-vote.js';

/** Puts what was decided into the order of the input. */
export function report(
  problem: Problem,
  found: Consensus,
  decision: Decision,
  duplicates: ReadonlyMap<Link, Fate>,
  counts: { readonly edges: number; readonly fixes: number },
): GraphSolution {
  const { kept, solved, checks, bridges } = decision;
  const edges: EdgeVerdict[] = Array.from({ length: counts.edges });
  const fixes: EdgeVerdict[] = Array.from({ length: counts.fixes });
  for (const { isFix, given, detail } of problem.malformed)
    (isFix ? fixes : edges)[given] = left({ reason: 'MALFORMED', detail }, 0, null);
  const keptPairs = new Map([...kept].filter((l) => !l.isFix).map((l) => [pairOf(l), l]));
  for (const l of problem.links) {
    const check = checks.get(l) ?? null;
    const target = l.isFix ? fixes : edges;
    if (kept.has(l)) target[l.given] = used(l, check, bridges.has(l), probabilityOf(l, found, bridges));
    else {
      const fate = duplicates.get(l) ?? fateOf(problem, found, decision, l, keptPairs.get(pairOf(l)));
      target[l.given] = left(
        fate,
        fate.reason === 'CONTESTED' || fate.reason === 'DUPLICATE' ? l.probability : 0,
        check && cornersPx(l, check.residual),
      );
    }
  }
  const groups: GraphGroup[] = [];
  const strips = stripVerdicts(problem, found, decision, groups);
  const tests = [...kept].flatMap((l) => (checks.has(l) ? [{ l, check: checks.get(l)! }] : []));
  const rms = (values: readonly number[]): number =>
    values.length === 0 ? 0 : Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
  const overlaps = tests.filter(({ l }) => !l.isFix);
  const loops = shortLoops(
    problem,
    [...kept].filter((l) => !l.isFix),
  );
  let chi2 = tests.reduce((sum, { check }) => sum + check.misfit2, 0);
  let degreesOfFreedom = tests.reduce((sum, { l }) => sum + l.rank, 0);
  for (const c of solved.components) {
    if (c.strips.length < 2 && c.reference !== -1) continue;
    degreesOfFreedom += c.strips.length * (2 - DOF) + (c.reference === -1 ? 0 : 3);
    for (const s of c.strips)
      chi2 +=
        (solved.state[s * DOF + 3]! / problem.settings.scaleSigma) ** 2 +
        (solved.state[s * DOF + 4]! / problem.settings.squeezeSigma) ** 2;
  }
  const indices = (test: (v: EdgeVerdict) => boolean): number[] => edges.flatMap((v, k) => (test(v) ? [k] : []));
  return {
    strips,
    edges,
    fixes,
    groups,
    untested: indices((v) => v.kept && !v.tested),
    bridges: indices((v) => v.bridge),
    edgeRmsPx: rms(overlaps.map(({ l, check }) => cornersPx(l, check.residual))),
    loopRmsPx: rms(loops.map((l) => l.test.misclosurePx)),
    loops: loops.length,
    heldOutRmsPx: rms(overlaps.filter(({ l }) => !bridges.has(l)).map(({ l, check }) => cornersPx(l, check.heldOut))),
    chi2,
    degreesOfFreedom,
  };
}

function pairOf(l: Link): string {
  return `${Math.min(l.fixed, l.moving)} ${Math.max(l.fixed, l.moving)}`;
}

function probabilityOf(l: Link, found: Consensus, bridges: ReadonlySet<Link>): number {
  if (bridges.has(l)) return l.probability * (found.posterior.get(l) ?? 1);
  return found.posterior.get(l) ?? 1 / (1 + Math.exp(found.doubt.get(l) ?? Math.log(l.doubt)));
}

function used(l: Link, check: LinkCheck | null, bridge: boolean, probability: number): EdgeVerdict {
  const tested = !bridge && check !== null && check.dimensions >= LEAST_TESTED;
  return {
    kept: true,
    reason: null,
    detail: '',
    tested,
    bridge,
    probability,
    residualPx: check && cornersPx(l, check.residual),
    heldOutPx: tested ? cornersPx(l, check.heldOut) : null,
    distance2: tested ? check.distance2 : null,
    dimensions: tested ? check.dimensions : 0,
  };
}

/** Dimensions in which a link must be tested to count as tested. */
const LEAST_TESTED = 2;

function left(fate: Fate, probability: number, residualPx: number | null): EdgeVerdict {
  return {
    kept: false,
    ...fate,
    tested: fate.reason === 'LOOP' || fate.reason === 'RESIDUAL' || fate.reason === 'RIVAL',
    bridge: false,
    probability,
    residualPx,
    heldOutPx: residualPx,
    distance2: null,
    dimensions: 0,
  };
}

function fateOf(
  problem: Problem,
  found: Consensus,
  { checks, dropped }: Decision,
  l: Link,
  rival: Link | undefined,
): Fate {
  if (found.contested.has(l))
    return {
      reason: 'CONTESTED',
      detail: `it and what contradicts it are about as likely: none is right with ${problem.settings.leastPosterior}`,
    };
  const check = dropped.get(l) ?? checks.get(l);
  const off = check ? cornersPx(l, check.heldOut).toPrecision(3) : '?';
  if (rival && !l.isFix) {
    const which = `edge ${rival.given} of the same strips is used; they are ${off} px apart`;
    return { reason: 'RIVAL', detail: which };
  }
  const loop = found.forest.closing.get(l);
  if (loop && loop.ratio > 1 && !dropped.has(l)) {
    const limit = problem.limits[loop.dimensions]!.toPrecision(3);
    const square = `${loop.distance2.toPrecision(3)} against ${limit} in ${loop.dimensions} dimensions`;
    return { reason: 'LOOP', detail: `its loop misses by ${loop.misclosurePx.toPrecision(3)} px: ${square}` };
  }
  const limit = check ? problem.limits[check.dimensions]!.toPrecision(3) : '?';
  const square = `${check?.distance2.toPrecision(3) ?? '?'} against ${limit} in ${check?.dimensions ?? 0} dimensions`;
  return { reason: 'RESIDUAL', detail: `it is ${off} px from what all others say: ${square}` };
}

function stripVerdicts(problem: Problem, found: Consensus, decision: Decision, groups: GraphGroup[]): StripVerdict[] {
  const { kept, solved, bridges } = decision;
  const n = problem.strips.length;
  const verdicts: StripVerdict[] = Array.from({ length: n });
  const linked = new Set(problem.links.flatMap((l) => [l.fixed, l.moving]));
  // Ways along the consistent forest, as far as it is in use.
  const ways = { refuted: new Set<Link>(), support: (l: Link) => Number(found.forest.inTree.has(l)) };
  const forest = hang(problem, shallowTree(n + 1, [...kept], ways), []);
  for (const { strips, reference } of solved.components) {
    const alone = strips.length < 2 && reference !== -1;
    const placed: number[] = [];
    for (const s of strips) {
      const given = problem.givenStrip[s]!;
      const covariance = solved.covariance(s, s);
      const lost = !(Math.max(covariance[0]!, covariance[DOF + 1]!) < UNDETERMINED_PX ** 2);
      const reason: StripReason | null = alone
        ? linked.has(s)
          ? 'ONLY_CONTRADICTED_EDGES'
          : 'NO_EDGE'
        : lost
          ? 'UNDETERMINED'
          : null;
      if (reason === null) placed.push(given);
      let probability = 1;
      for (const l of reason === null ? pathBetween(forest, s, reference === -1 ? n : reference) : [])
        probability *= bridges.has(l) ? probabilityOf(l, found, bridges) : (found.posterior.get(l) ?? 1);
      const k = s * DOF;
      verdicts[given] = {
        pose: reason === null ? solved.poses[s]! : null,
        rotationDeg: (solved.state[k + 2]! * 180) / Math.PI,
        scale: Math.exp(solved.state[k + 3]!),
        squeeze: Math.exp(solved.state[k + 4]!),
        covariance,
        group: reason === null ? groups.length : -1,
        probability: reason === null ? probability : 0,
        reason,
      };
    }
    if (placed.length > 0)
      groups.push({
        strips: placed.sort((a, b) => a - b),
        reference: reference === -1 ? null : problem.givenStrip[reference]!,
      });
  }
  return verdicts;
}
