import type { GradedFrame } from './grade-stage.js';

/**
 * What tells a frame apart in the key of a stage: its content, its place in the pass, and its name, since the pictures of a
 * clip share its hash, and each part of a parted clip counts from 0.
 */
export function frameKey({ item, index, sha256 }: Pick<GradedFrame, 'item' | 'index' | 'sha256'>): readonly unknown[] {
  return [item, index, sha256];
}
