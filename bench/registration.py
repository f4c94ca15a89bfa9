"""The other methods of registration.mjs: job.json in, shifts (moving + shift = fixed, x then y) and ms per pair out."""
import json
import sys
import time

job = json.load(open(sys.argv[1]))
import cv2
import numpy as np
import skimage
from skimage.registration import phase_cross_correlation

cv2.setNumThreads(1)
if job.get("versions"):
    print(json.dumps({"versions": f"numpy {np.__version__}, scikit-image {skimage.__version__}, OpenCV {cv2.__version__}"}))
    sys.exit()
side = job["side"]
pictures = np.fromfile(job["path"], np.float32).reshape(job["pairs"], 2, side, side)
window = cv2.createHanningWindow((side, side), cv2.CV_32F)
middle = (side - 1) / 2


def by_skimage(a, b):
    y, x = phase_cross_correlation(a, b, upsample_factor=100)[0]
    return float(x), float(y)


def by_phase(a, b):
    (x, y), _ = cv2.phaseCorrelate(a, b, window)
    return -x, -y


def by_ecc(a, b):
    kind = cv2.MOTION_AFFINE if job["affine"] else cv2.MOTION_TRANSLATION
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-8)
    try:
        _, warp = cv2.findTransformECC(a, b, np.eye(2, 3, dtype=np.float32), kind, criteria, None, 5)
    except cv2.error:
        return None
    x, y = np.linalg.solve(warp[:, :2], np.array([middle, middle]) - warp[:, 2])
    # The moving point that lands on the fixed picture's middle is warp(middle); read the shift at the moving middle.
    return float(x - middle), float(y - middle)


out = {}
for name, method in {"skimage": by_skimage, "phase": by_phase, "ecc": by_ecc}.items():
    if name in job.get("skip", []):
        continue
    for a, b in pictures[: job["warm"]]:
        method(a, b)
    shifts, times = [], []
    for a, b in pictures:
        started = time.perf_counter()
        shifts.append(method(a, b))
        times.append(1000 * (time.perf_counter() - started))
    out[name] = {"shifts": shifts, "ms": float(np.median(times))}
print(json.dumps(out))
