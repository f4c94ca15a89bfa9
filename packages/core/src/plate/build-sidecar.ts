import { usedOf } from '../capture/calibration-stage.js';
import { hashLeftOut } from '../capture/hash-capture.js';
import { type Capture, sameShape } from '../capture/pass.js';
import { bendRms } from '../compute/bend-grid.js';
import { codeVersion } from '../job/code-version.js';
import type { LeftOut } from '../job/errors.js';
import type { OverlapFigures } from '../placement/overlap-verdict.js';
import { VERSION } from '../version.js';
import type { Gap } from './gaps.js';
import type { MadePlate } from './make-plate.js';
import { ENCODING_NAMES } from './master-colour.js';
import {
  onPlate,
  SIDECAR_VERSION,
  type Sidecar,
  type SidecarCalibration,
  type SidecarFrame,
  type SidecarPass,
  type WrittenFiles,
} from './sidecar.js';
import type { Whereabouts, WhereUnknown } from './whereabouts.js';

/** What the sidecar is made from. */
export interface SidecarInput {
  readonly capture: Capture;
  readonly made: MadePlate;
  readonly where: Whereabouts | WhereUnknown;
  readonly gaps: readonly Gap[];
  readonly files: WrittenFiles;
  readonly curve: string;
}

/** Puts together the sidecar of a finished plate; hashes what was left out, too. */
export async function buildSidecar(input: SidecarInput, signal?: AbortSignal): Promise<Sidecar> {
  const { capture, made, where, gaps, files, curve } = input;
  const { blended, light, placed } = made;
  const { file, sha256, bytes, bigtiff, levels, clippedLow, clippedHigh } = files.plate;
  return {
    format: 'plenilune-plate',
    version: SIDECAR_VERSION,
    software: { name: '@plenilune/core', version: VERSION, code: codeVersion() },
    plate: {
      file,
      sha256,
      widthPx: blended.widthPx,
      heightPx: blended.heightPx,
      bits: 16,
      encoding: ENCODING_NAMES[files.colour.encoding],
      primaries: files.colour.primaries,
      alpha: files.background === 'cut' ? 'coverage-and-matte' : 'coverage',
      background: files.background,
      covered: blended.covered,
      bytes,
      bigtiff,
      levels,
      clippedLow,
      clippedHigh,
    },
    preview: files.preview,
    files: files.files,
    crops: files.crops,
    limb: files.limb,
    complete: gaps.length === 0,
    where,
    gaps,
    capture: {
      name: capture.name,
      synthetic: capture.settings.synthetic ?? false,
      guide: made.guide && { item: made.guide.item, sha256: made.guide.sha256 },
      calibration: describeCalibration(capture, made),
    },
    settings: { curve },
    notices: [...capture.notices, ...made.notices, ...files.notices],
    passes: describePasses(made),
    agreement: agreementOf(made),
    overlaps: made.placement.edges.map((edge) => ({
      ...edge,
      rmsPx: edge.rmsPx === null ? null : edge.rmsPx * made.tracked[0]!.graded.binFactor,
    })),
    light: {
      referencePass: placed[light.referencePass]!.tracked.graded.pass.name,
      pattern: light.pattern,
      fine: made.fine.figures,
      residual: light.residual,
      blendLevels: blended.levels,
    },
    leftOut: await hashLeftOut(capture.root, allLosses(capture, made), signal),
  };
}

function describeCalibration({ calibration }: Capture, { hashes, tracked }: MadePlate): SidecarCalibration[] {
  return calibration.map(({ kind, pass }) => ({
    kind,
    files: usedOf(pass).map(({ item }) => ({ file: item, sha256: hashes.get(item)! })),
    usedFor: tracked.filter(({ graded }) => sameShape(graded.pass, pass)).map(({ graded }) => graded.pass.name),
  }));
}

function allLosses(capture: Capture, made: MadePlate): LeftOut[] {
  const losses: LeftOut[] = [...capture.leftOut, ...made.leftOut];
  made.tracked.forEach((tracked, i) => {
    losses.push(...tracked.graded.leftOut, ...tracked.leftOut);
    if (made.placement.poses[i]) return;
    losses.push({
      item: tracked.graded.pass.name,
      reason: 'not-placed',
      detail:
        'overlaps with no other pass could be recognised, and neither a guide nor its limb tells where it belongs',
    });
  });
  return losses;
}

function agreementOf({ placement: { figures }, tracked }: MadePlate): OverlapFigures {
  const { binFactor } = tracked[0]!.graded;
  return {
    ...figures,
    edgeRmsPx: figures.edgeRmsPx * binFactor,
    loopRmsPx: figures.loopRmsPx * binFactor,
    heldOutRmsPx: figures.heldOutRmsPx * binFactor,
  };
}

/** The passes of a plate as its sidecar tells them. */
export function describePasses(made: MadePlate): SidecarPass[] {
  return made.tracked.map((_, i) => describePass(made, i));
}

function describePass(made: MadePlate, index: number): SidecarPass {
  const tracked = made.tracked[index]!;
  const { pass, binFactor } = tracked.graded;
  const at = made.placed.findIndex((p) => p.tracked === tracked);
  const { path } = tracked;
  return {
    name: pass.name,
    widthPx: pass.widthPx,
    heightPx: pass.heightPx,
    channels: pass.channels,
    timeCode: pass.kind === 'clip' ? pass.clip.timeCode : null,
    placed: at >= 0,
    placedBy: made.placement.placedBy[index]!,
    sharp: at < 0 ? null : made.strips[at]!.sharp,
    colour: at < 0 ? null : made.strips[at]!.colour,
    joinPx: at < 0 ? 0 : bendRms([made.placed[at]!.join]) * binFactor,
    defects: tracked.graded.defects.length,
    frames: at < 0 ? [] : tracked.frames.map((_, k) => describeFrame(made, index, at, k)),
    track: {
      ...path,
      tiltPx: path.tiltPx * binFactor,
      warpPx: path.warpPx * binFactor,
      bendPx: tracked.bendPx * binFactor,
      pairResidualPx: path.pairResidualPx * binFactor,
      gaps: tracked.gaps,
    },
  };
}

function describeFrame(made: MadePlate, passIndex: number, at: number, k: number): SidecarFrame {
  const { frames, graded } = made.tracked[passIndex]!;
  const frame = frames[k]!;
  const { time } = graded.pass.frames.find(({ item }) => item === frame.item)!;
  const { skyLevel, brightLevel, noise, clipped, bitsPerSample, curve, notes } = frame.grade;
  return {
    file: frame.item,
    sha256: frame.sha256,
    index: frame.index,
    time:
      time?.utc === undefined ? null : { utc: time.utc, from: time.source!, uncertaintyS: time.uncertaintyS ?? null },
    weight: frame.weight,
    intruded: made.intrusions[at]![k]!.pixels / (frame.proxy.width * frame.proxy.height),
    sharpness: frame.sharpness,
    pose: onPlate(made.strips[at]!.poses[k]!, made.blended.x0, made.blended.y0),
    offPathPx: frame.offPathPx * graded.binFactor,
    ...made.light.corrections[at]![k]!,
    skyLevel,
    brightLevel,
    noise,
    clipped,
    bitsPerSample,
    curve,
    notes,
  };
}
