import { sha256File } from '../capture/hash.js';
import type { Capture } from '../capture/pass.js';
import { type Affine, compose, invert } from '../compute/affine.js';
import type { JobContext } from '../job/context.js';
import { runStage } from '../job/stage.js';
import type { MadePlate } from '../plate/make-plate.js';
import { plateOnDisk } from '../plate/plate-source.js';
import { onPlate } from '../plate/sidecar.js';
import type { Whereabouts, WhereUnknown } from '../plate/whereabouts.js';
import { airOfSettings, siteOfSettings } from '../sky/place-settings.js';
import { isInEphemeris } from '../sky/types.js';
import { type AlbedoMap, readAlbedoMap } from './albedo-map.js';
import { describeWhere } from './describe-where.js';
import { georeference, type PlateFacts } from './georeference.js';
import { type PassWay, wayOf } from './pass-way.js';
import type { PlateMoment } from './pose-from-sky.js';

/** An albedo map that has been asked for, by path. */
export interface AskedMap {
  readonly path: string;
  readonly sha256: string;
  readonly map: AlbedoMap;
}

/** Reads an albedo map; see `readAlbedoMap`. */
export async function askMap(path: string | undefined, signal?: AbortSignal): Promise<AskedMap | null> {
  if (path === undefined) return null;
  const map = await readAlbedoMap(path);
  return { path, sha256: await sha256File(path, signal), map };
}

/** Stage: where the plate lies on its body. */
export async function whereStage(
  context: JobContext,
  capture: Capture,
  made: MadePlate,
  asked: AskedMap | null,
): Promise<Whereabouts | WhereUnknown> {
  const { body: name = 'moon' } = capture.settings;
  if (name !== 'moon' && name !== 'sun') {
    return { known: false, reason: 'plain-body', detail: `${name} is taken for a plain disc` };
  }
  const body = name === 'moon' ? 'Moon' : 'Sun';
  const { moment, date, ways } = skyOf(capture, made);
  const artefact = await runStage<Whereabouts | WhereUnknown>(context, {
    name: 'where',
    key: {
      plate: made.strips.map(({ key }) => key),
      body,
      moment: moment && { ...moment, air: moment.air ?? null, date: moment.date.toISOString() },
      date: date?.toISOString() ?? null,
      ways: ways.map((way) => ({ ...way, date: way.date.toISOString() })),
      map: asked?.sha256 ?? null,
    },
    run: async () => {
      const source = plateOnDisk(made.blended.raster);
      const facts: PlateFacts = { source, body, moment, date, ways, map: asked?.map ?? null };
      const placed = georeference(facts);
      return placed.known ? describeWhere(facts, placed, asked?.sha256 ?? null) : placed;
    },
  });
  return artefact.result;
}

/** Moment, site and ways of a plate, as far as capture and settings tell. */
export function skyOf(capture: Capture, made: MadePlate): Pick<PlateFacts, 'moment' | 'date' | 'ways'> {
  const back = invert(made.turn);
  const passes = made.placed.map(({ tracked }, p) => {
    const { pass } = tracked.graded;
    const byItem = new Map(pass.frames.map((frame) => [frame.item, frame]));
    const frames = tracked.frames.map((frame, k) => {
      const time = byItem.get(frame.item)?.time;
      const told = time?.utc !== undefined && time.source !== 'file' && time.uncertaintyS !== undefined;
      return {
        pose: onPlate(made.strips[p]!.poses[k]!, made.blended.x0, made.blended.y0),
        widthPx: pass.widthPx,
        heightPx: pass.heightPx,
        utc: told && isInEphemeris(new Date(time.utc!)) ? time.utc! : null,
      };
    });
    return { frames, off: Math.min(...frames.map(({ pose }) => offUpright(compose(back, pose)))) };
  });
  const ways = passes.map(({ frames }) => wayOf(frames)).filter((way): way is PassWay => way !== null);
  const timed = passes
    .map(({ frames, off }) => ({ times: frames.flatMap(({ utc }) => (utc === null ? [] : [Date.parse(utc)])), off }))
    .filter(({ times }) => times.length > 0)
    .sort((a, b) => a.off - b.off)[0];
  if (!timed) return { moment: null, date: null, ways };
  const date = new Date(timed.times.reduce((sum, t) => sum + t, 0) / timed.times.length);
  const moment = momentAt(capture, date);
  return { moment, date, ways: moment ? ways : [] };
}

function momentAt({ settings: { site } }: Capture, date: Date): PlateMoment | null {
  const place = site ? siteOfSettings(site) : null;
  return site && place ? { date, site: place, air: airOfSettings(site) } : null;
}

/** How far a pose is from standing upright at full scale. */
function offUpright({ xx, xy, yx, yy }: Affine): number {
  return Math.hypot(xx - 1, xy, yx, yy - 1);
}
