"""What tifffile reads of a TIFF, as JSON. Arguments: the file, the same without compression, the samples that were meant,
the tolerance."""

import json
import sys

import numpy
import tifffile

path, plain, meant, tolerance = sys.argv[1], sys.argv[2], sys.argv[3], float(sys.argv[4])
with tifffile.TiffFile(path) as tiff:
    page = tiff.pages[0]
    facts = {
        "levels": len(tiff.series[0].levels),
        "icc": bytes(page.tags[34675].value).hex() if 34675 in page.tags else None,
        "xmp": page.tags[700].value.decode() if 700 in page.tags else None,
    }
with tifffile.TiffFile(plain) as tiff:
    read = tiff.pages[0].asarray()
wanted = numpy.fromfile(meant, dtype=read.dtype).reshape(read.shape)
off = numpy.abs(read.astype("f8") - wanted.astype("f8"))
facts["worst"] = float(off.max())
if not off.max() <= tolerance:
    facts["fault"] = f"samples differ by up to {off.max()}, at {numpy.unravel_index(off.argmax(), off.shape)}"
print(json.dumps(facts))
