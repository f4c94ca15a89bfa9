"""Reference values for the real stills in ../shared/real/formats, from readers that share no code with the library.

Run from the repository root:  python3 packages/core/test/recipes/formats.py > packages/core/test/recipes/formats.json
Needs numpy, opencv, tifffile, Pillow, astropy and unprocessed_raw of LibRaw. Recorded values are given as a share of the largest code, upright, without
alpha; "srgb" gives values that a colour engine has brought to sRGB.
"""

import io
import json
import os
import shutil
import subprocess
import sys
import tempfile

os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"

import astropy
import cv2
import numpy as np
import PIL
import tifffile
from astropy.io import fits
from PIL import Image, ImageCms, ImageOps

ROOT = "../shared/real/formats"
PILLOW = """png/basn3p08.png png/f04n2c08.png jpeg/Landscape_3.jpg jpeg/Landscape_6.jpg jpeg/Portrait_8.jpg
jpeg/exif_typeerror.jpg jpeg/hopper_gray.jpg jpeg/hopper_orientation_6.jpg jpeg/hopper_orientation_8.jpg
jpeg/icc_profile_big.jpg tiff/quad-tile.tif tiff/tiled-jpeg-ycbcr.tif other/frozenpond.mpo
other/sugarshack_ifd_offset.mpo broken/invalid-exif.jpg wrong-extension.jpeg""".split()
OPENCV = """png/basi6a16.png png/basn0g16.png png/basn2c16.png png/basn4a16.png png/basn6a16.png png/oi9n2c16.png
png/tbbn2c16.png tiff/predictor-3-gray-f32.tif other/hopper_16bit.pgm exr/half-rgb-b44.exr""".split()
TIFFFILE = """tiff/16bit.MM.deflate.tif tiff/flower-minisblack-16.tif tiff/flower-palette-16.tif
tiff/flower-rgb-contig-16.tif tiff/flower-rgb-planar-32.tif tiff/hopper_bigtiff.tif tiff/ladoga.tif
tiff/minisblack-1c-16b.tiff tiff/rgb-3c-16b.tiff tiff/white-fp16.tiff broken/hopper_unknown_pixel_mode.tif""".split()
# With the physical value that means 1: the largest of a 16-bit type with its BSCALE and BZERO, 1 and 65535 for floats.
FITS = {"fits/comp.fits": 32767, "fits/float32-three-planes.fits": 1, "fits/int16-one-image.fits": 32767,
        "fits/m13.fits": 32767, "fits/m13_rice.fits": 32767, "fits/scale.fits": None, "fits/sun-float64-128.fits": 65535,
        "fits/test0.fits": 32767, "fits/uint16-bzero-three-images.fits": 65535}
# With black and white as the file's tags 50714 and 50717 have them.
RAW = {"raw/bayer-rggb-14bit.dng": (2056, 15000)}
PREMULTIPLIED = ["tiff/tiff_16bit_RGBa.tiff", "tiff/tiff_strip_planar_16bit_RGBa.tiff"]


def with_pillow(path):
    image = ImageOps.exif_transpose(Image.open(path))
    return np.asarray(image.convert("RGB") if image.mode == "P" else image)


def with_opencv(path):
    pixels = cv2.imread(path, cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION)
    if pixels.ndim == 2:
        return pixels
    pixels = pixels[..., :3][..., ::-1]
    return pixels[..., 0] if path.endswith("basn4a16.png") else pixels


def with_tifffile(path):
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        pixels = page.asarray()
        if "ColorMap" in page.tags:
            return np.moveaxis(np.asarray(page.colormap)[:, pixels], 0, -1)
        return np.moveaxis(pixels, 0, -1) if pixels.ndim == 3 and pixels.shape[0] == 3 else pixels


def with_astropy(path, white):
    with fits.open(path) as file:
        unit = next(unit for unit in file if unit.header.get("NAXIS", 0) >= 2 and unit.data is not None)
        pixels = np.asarray(unit.data, dtype=np.float64)
        if white is None:
            white = 32767 * unit._orig_bscale + unit._orig_bzero
    pixels = pixels[..., ::-1, :] / white
    return np.moveaxis(pixels, 0, -1) if pixels.ndim == 3 else pixels


def with_libraw(path, black, white):
    """The mosaic as it is recorded, as shares of the range from black to white."""
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copy(path, folder)
        subprocess.run(["unprocessed_raw", "-T", copy], check=True, stdout=subprocess.DEVNULL)
        return (tifffile.imread(copy + ".tiff").astype(np.float64) - black) / (white - black)


def lzw(data):
    """TIFF 6.0, section 13: codes of 9 to 12 bits, most significant bit first."""
    out, table, width, bits, held, last = bytearray(), [], 9, 0, 0, None
    for byte in data:
        held, bits = (held << 8) | byte, bits + 8
        if bits < width:
            continue
        bits -= width
        code, held = held >> bits, held & ((1 << bits) - 1)
        if code == 257:
            break
        if code == 256:
            table, width, last = [bytes([i]) for i in range(256)] + [b"", b""], 9, None
            continue
        entry = table[code] if code < len(table) else last + last[:1]
        if last is not None:
            table.append(last + entry[:1])
        out += entry
        last = entry
        width = 9 + (len(table) >= 511) + (len(table) >= 1023) + (len(table) >= 2047)
    return bytes(out)


def divided(path):
    with tifffile.TiffFile(path) as file, open(path, "rb") as raw:
        page = file.pages[0]
        strips = []
        for offset, length in zip(page.dataoffsets, page.databytecounts):
            raw.seek(offset)
            strips.append(lzw(raw.read(length)))
        samples = np.frombuffer(b"".join(strips), dtype=file.byteorder + "u2").astype(np.float64)
        height, width = page.imagelength, page.imagewidth
        planar = page.planarconfig == 2
    pixels = np.moveaxis(samples.reshape(4, height, width), 0, -1) if planar else samples.reshape(height, width, 4)
    alpha = pixels[..., 3:]
    return np.where(alpha > 0, np.minimum(1, pixels[..., :3] / np.maximum(alpha, 1)), 0)


def describe(pixels):
    if np.issubdtype(pixels.dtype, np.integer):
        values = pixels.astype(np.float64) / np.iinfo(pixels.dtype).max
    else:
        values = pixels.astype(np.float64)
    values = values.reshape(values.shape[0], values.shape[1], -1)
    height, width, channels = values.shape
    at = [(0, 0), (width - 1, 0), (0, height - 1), (width // 2, height // 2), (width // 3, 3 * height // 4)]
    return {
        "width": width,
        "height": height,
        "channels": channels,
        "means": [round(v, 9) for v in values.mean(axis=(0, 1))],
        "pixels": [{"x": x, "y": y, "values": [round(v, 9) for v in values[y, x]]} for x, y in at],
    }


def to_srgb(path):
    image = Image.open(path)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
    return np.asarray(ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"), renderingIntent=0))


def main():
    recorded = {}
    for names, reader in ((PILLOW, with_pillow), (OPENCV, with_opencv), (TIFFFILE, with_tifffile), (PREMULTIPLIED, divided)):
        for name in names:
            recorded[name] = {"reader": reader.__name__, **describe(reader(os.path.join(ROOT, name)))}
    for name, white in FITS.items():
        recorded[name] = {"reader": "with_astropy", **describe(with_astropy(os.path.join(ROOT, name), white))}
    mosaic = {}
    for name, (black, white) in RAW.items():
        mosaic[name] = {"reader": "with_libraw", **describe(with_libraw(os.path.join(ROOT, name), black, white))}
    srgb = {"jpeg/icc_profile_big.jpg": describe(to_srgb(os.path.join(ROOT, "jpeg/icc_profile_big.jpg")))}
    made_with = {"numpy": np.__version__, "opencv": cv2.__version__, "tifffile": tifffile.__version__, "pillow": PIL.__version__,
                 "astropy": astropy.__version__, "libraw": "0.20.2"}
    json.dump({"madeWith": made_with, "recorded": recorded, "mosaic": mosaic, "srgb": srgb}, sys.stdout, indent=1)
    print()


main()
