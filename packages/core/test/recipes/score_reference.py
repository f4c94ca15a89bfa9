#!/usr/bin/python3
"""Reference figures for the scorer, from the independent scorer in ../shared/tools, on OpenCV.
From the repository root:
  /usr/bin/python3 packages/core/test/recipes/score_reference.py > packages/core/test/recipes/score_reference.json
Cuts a piece out of a real truth.png, draws damaged plates of it by the formula below (test/score-plates.ts draws the very same),
and prints the cases with what score.py said of them. (Then: npx biome check --write on the JSON.) Needs python3-numpy python3-opencv and what score.py needs."""
import json, os, subprocess, sys, tempfile
import numpy as np, cv2

TRUTH = '../shared/real/captures/open_halves'
SCORE = '../shared/tools/score.py'
SCENE = dict(left=320, top=480, width=540, height=640)
BASE = dict(widthPx=470, heightPx=550, scale=1.0, rotationDeg=0.0, mirrored=False, blurTruthPx=1.0, lowerShiftPx=0.0,
            lowerGain=1.0, uncoveredShare=0.0)
CASES = dict(
    whole=dict(),
    lower_half_shifted=dict(lowerShiftPx=2.0),
    lower_half_brighter=dict(lowerGain=1.07),
    blurred=dict(blurTruthPx=2.2),
    turned_and_shrunk=dict(rotationDeg=37.0, scale=0.8, widthPx=600, heightPx=600),
    upside_down_enlarged_part=dict(rotationDeg=171.0, scale=1.6, uncoveredShare=0.25, widthPx=700, heightPx=800),
    mirrored=dict(mirrored=True),
)

z = json.load(open(TRUTH + '/truth.json'))
s = SCENE
raw = cv2.imread(TRUTH + '/truth.png', -1)[s['top']:s['top'] + s['height'], s['left']:s['left'] + s['width']]


def noise(x, y):
    h = (x * np.uint32(374761393) + y * np.uint32(668265263)).astype(np.uint32)
    h ^= h >> np.uint32(13)
    h = (h * np.uint32(1274126177)).astype(np.uint32)
    h ^= h >> np.uint32(16)
    return h / 4294967296 - 0.5


def bilinear(a, x, y):
    a = np.pad(a.astype(np.float64), 1)
    x = np.clip(x + 1, 0, a.shape[1] - 1.001)
    y = np.clip(y + 1, 0, a.shape[0] - 1.001)
    i, j = np.floor(x).astype(int), np.floor(y).astype(int)
    u, v = x - i, y - j
    return (a[j, i] * (1 - u) + a[j, i + 1] * u) * (1 - v) + (a[j + 1, i] * (1 - u) + a[j + 1, i + 1] * u) * v


def plate(c):
    blurred = cv2.GaussianBlur(raw.astype(np.float32) / 65535 * 1.5, (0, 0), c['blurTruthPx'])
    py, px = np.mgrid[0:c['heightPx'], 0:c['widthPx']]
    u, v = px - (c['widthPx'] - 1) / 2, py - (c['heightPx'] - 1) / 2
    if c['mirrored']: u = -u
    t, k = np.deg2rad(c['rotationDeg']), z['os'] / c['scale']
    x = (s['width'] - 1) / 2 + k * (np.cos(t) * u - np.sin(t) * v)
    y = (s['height'] - 1) / 2 + k * (np.sin(t) * u + np.cos(t) * v)
    lower = y > (s['height'] - 1) / 2
    wx = 0.5 * np.sin(2 * np.pi * (y / 310 + x / 900)); wy = 0.5 * np.sin(2 * np.pi * (x / 270 - y / 800))
    f = bilinear(blurred, x + wx + lower * c['lowerShiftPx'] * z['os'], y + wy)
    f = 0.01 + 0.6 * f * np.where(lower, c['lowerGain'], 1) + 0.01 * noise(px.astype(np.uint32), py.astype(np.uint32))
    f = np.clip(f, 0, 1)
    e = np.rint(65535 * np.where(f <= .0031308, f * 12.92, 1.055 * f ** (1 / 2.4) - .055)).astype(np.uint16)
    alpha = np.where(px < c['uncoveredShare'] * c['widthPx'], 0, 65535).astype(np.uint16)
    return np.dstack([e, e, e, alpha])


out = dict(truth=TRUTH, scene=SCENE, os=z['os'], D=z['D'], cases={})
with tempfile.TemporaryDirectory() as tmp:
    cv2.imwrite(tmp + '/truth.png', raw)
    json.dump(dict(os=z['os'], D=z['D']), open(tmp + '/truth.json', 'w'))
    for name, change in CASES.items():
        c = dict(BASE, **change)
        cv2.imwrite(tmp + '/plate.png', plate(c))
        p = subprocess.run([sys.executable, SCORE, tmp + '/plate.png', tmp], capture_output=True, text=True)
        if not p.stdout: sys.exit(p.stderr)
        out['cases'][name] = dict(plate=c, reference=json.loads(p.stdout))
print(json.dumps(out, indent=2))
