import type { PlanRehearsal, ShotList } from '@plenilune/core';

/** How the frames of a rehearsal stand to those of the planned camera. */
export interface ShrunkFrames {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Pitch of a sensor with such pixels and the same field. */
  readonly pitchUm: number;
  /** By so much a side is shorter in pixels than the camera's; 1: they are the camera's own. */
  readonly timesSmaller: number;
  readonly camera: { readonly widthPx: number; readonly heightPx: number; readonly pitchUm: number };
  /** Why they are smaller; null when they are not. */
  readonly reason: string | null;
}

/** Of the planned camera and what is rehearsed of it. */
export function shrunkFrames({ camera }: ShotList, { captureSettings: { sensor } }: PlanRehearsal): ShrunkFrames {
  const { widthPx, heightPx, pitchUm } = camera;
  const timesSmaller = sensor.pitchUm / pitchUm;
  const reason = timesSmaller > 1 ? 'so that frames are drawn, checked and stitched in minutes' : null;
  return { ...sensor, timesSmaller, camera: { widthPx, heightPx, pitchUm }, reason };
}

/** The same for people: nothing where frames are the camera's own. */
export function shrunkLines({ widthPx, heightPx, pitchUm, timesSmaller, camera, reason }: ShrunkFrames): string[] {
  if (reason === null) return [];
  return [
    `The rehearsed frames are ${widthPx} x ${heightPx} px, each side ${figure(timesSmaller)} times shorter than the camera's ${camera.widthPx} x ${camera.heightPx} px, ${reason}. The field is the same: capture.yaml gives their pixels a pitch of ${figure(pitchUm)} µm.`,
  ];
}

function figure(value: number): string {
  return String(Number(value.toFixed(2)));
}
