"""Makes the stills of this folder, but for lossless-jpeg.dng: the value of channel c at x, y is
((5 x + 11 y + 17 c) mod 127) / 128, which every depth here holds exactly; in FITS, that of whole numbers is 128 times 200
as large. Needs opencv and astropy. Run it in this folder."""
import os

os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"

import cv2
import numpy as np
from astropy.io import fits

WIDTH, HEIGHT = 83, 45
y, x, c = np.mgrid[:HEIGHT, :WIDTH, :3]
values = ((5 * x + 11 * y + 17 * c) % 127 / 128).astype(np.float32)

for number, name in enumerate("none rle zips zip piz pxr24".split()):
    for kind, depth in (("half", cv2.IMWRITE_EXR_TYPE_HALF), ("float", cv2.IMWRITE_EXR_TYPE_FLOAT)):
        options = [cv2.IMWRITE_EXR_TYPE, depth, cv2.IMWRITE_EXR_COMPRESSION, number]
        cv2.imwrite(f"{name}-{kind}.exr", values[..., ::-1], options)

whole = (values[::-1, :, 0] * 25600).astype(np.int16)
for method in ("RICE_1", "GZIP_1", "GZIP_2"):
    fits.CompImageHDU(whole, compression_type=method, tile_size=(30, 7)).writeto(f"{method}.fits", overwrite=True)
fits.CompImageHDU(values[::-1, :, 0], compression_type="GZIP_2", quantize_level=0).writeto("float.fits", overwrite=True)
unsigned = fits.PrimaryHDU(whole.astype(np.uint16) + 30000)
unsigned.writeto("unsigned.fits", overwrite=True)
fits.PrimaryHDU(np.moveaxis(values[::-1], -1, 0)).writeto("planes.fits", overwrite=True)
