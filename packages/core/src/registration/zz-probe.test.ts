import { it } from 'vitest';
import { writeFileSync, appendFileSync } from 'node:fs';
import { createSceneField, planeOf, poseDistancePx, renderFrame } from '../../test/scene-field.js';
import { compose, IDENTITY, poseAbout, translation } from '../compute/affine.js';
import { ALIGN_DEFAULTS, alignPair } from './align.js';
import { BAND_PASS_DEFAULTS, bandPass } from './band-pass.js';
it('p', () => {
  const out: string[] = [];
  for (const [W, H] of [[160,128],[480,320]] as const) {
    const scene = createSceneField({ seed: 'align', widthPx: W+140, heightPx: H+132 });
    const centre = { x: (W - 1) / 2, y: (H - 1) / 2 };
    const at = (p: any, n = 0, seed = 'x') => renderFrame(scene, compose(translation(60, 60), p), W, H, { noise: n, seed });
    for (const freedom of ['shift', 'rigid'] as const) for (const sh of [[1.37,-.82],[-37.4,21.15],[W/2+.3,10.2]] as const) {
      const truth = poseAbout(centre, { shiftX: sh[0], shiftY: sh[1], rotationDeg: freedom === 'rigid' ? .35 : 0 });
      const start = compose(translation(1, -.8), truth);
      const f = at(IDENTITY), m = at(truth);
      const raw = alignPair({ detail: f }, { detail: m }, start, { ...ALIGN_DEFAULTS, freedom });
      const bp = alignPair({ detail: bandPass(f, BAND_PASS_DEFAULTS) }, { detail: bandPass(m, BAND_PASS_DEFAULTS) }, start, { ...ALIGN_DEFAULTS, freedom });
      const mask = planeOf(W, H, (x, y) => x >= 20 && y >= 20 && x < W - 20 && y < H - 20 ? 1 : 0);
      const bm = alignPair({ detail: bandPass(f, BAND_PASS_DEFAULTS), coverage: mask }, { detail: bandPass(m, BAND_PASS_DEFAULTS), coverage: mask }, start, { ...ALIGN_DEFAULTS, freedom });
      const s = (a: any) => a ? poseDistancePx(a.pose, truth, W, H).toFixed(4) + ' c' + a.correlation.toFixed(4) : 'none';
      out.push([W, freedom, sh, 'raw', s(raw), 'bp', s(bp), 'bp20', s(bm)].join(' '));
    }
  }
  writeFileSync('/tmp/probe.txt', out.join('\n'));
}, 100000);
