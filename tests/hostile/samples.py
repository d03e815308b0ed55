"""One good file of each kind, to be damaged."""

from __future__ import annotations

import io
import struct

import numpy as np
import tifffile
from PIL import Image
from still_files import (
    COLOR_MATRIX,
    MONITOR_COLORANTS,
    curv,
    dng,
    exif_block,
    grey_profile,
    para,
    picture,
    rgb_profile,
    srgb_table,
    table_profile,
)

from lookdev.colorimetry.encodings import get_encoding
from lookdev.stills.icc import profile_bytes

LOG = """stills,location,source,cct_k,duv,x,y,lux,camera_balance_k,grey,note
# first evening
IMG_0*.jpg,Net loft,HP1,,,0.533,0.415,120,5600,,"sodium, two lamps"
IMG_1001.jpg,Net loft,window,6200,0.004,,,850,5600,"40,50,20,20",
quay_*.dng,Quay,LED-B3,4000,-0.002,,,22,3200,,wet
IMG_2001.jpg,Chandlery,FL2,,,,,300 lx,auto,,
"""

LOOK = """title = "Test water"
note = "Cold shadows."

[exposure]
stops = -0.4

[balance]
keep = 0.35
mired = -12
duv = 0.000

[curve]
contrast = 1.18
toe = 0.25
shoulder = 0.40
black = 0.004

[colour]
saturation = 0.55

[colour.families.YR]
chroma = 0.85
hue_deg = -4
lightness = 0.02

[[tone]]
at_stops = -3
reach_stops = 2
towards = "5B"
chroma = 0.03

[cdl]
slope = [1.0, 1.0, 1.0]
offset = [0.0, 0.0, 0.0]
power = [1.0, 1.0, 1.0]
saturation = 1.0
"""


def stills() -> dict[str, bytes]:
    """Name to bytes: every format, small."""
    import imagecodecs
    import OpenEXR
    import pillow_heif

    small = picture(40, 56)
    image = Image.fromarray(small)
    block = exif_block({0x0110: "Tin", 0x0112: 6}, {0x829A: (1, 50), 0x8827: 800})
    icc = profile_bytes(get_encoding("Display P3"))
    out: dict[str, bytes] = {}

    def save(name: str, kind: str, picture_: Image.Image = image, **options: object) -> None:
        buffer = io.BytesIO()
        picture_.save(buffer, kind, **options)
        out[name] = buffer.getvalue()

    save("base.jpg", "JPEG", exif=block, icc_profile=icc)
    save("prog.jpg", "JPEG", progressive=True, restart_marker_rows=1)
    save("cmyk.jpg", "JPEG", image.convert("CMYK"), icc_profile=table_profile(4, b"CMYK"))
    save("plain.png", "PNG", image.convert("RGBA"), exif=block, icc_profile=icc)
    save("pal.png", "PNG", image.convert("P"))
    save("deep.png", "PNG", Image.fromarray(picture(40, 56, bits=16)[..., 0]))
    save("a.webp", "WEBP", exif=block, icc_profile=icc)
    save("a.avif", "AVIF", exif=block)
    for name, options in (
        ("flat.tif", {}),
        ("lzw.tif", {"compression": "lzw", "predictor": True, "tile": (16, 16)}),
    ):
        buffer = io.BytesIO()
        tifffile.imwrite(buffer, picture(40, 56, bits=16), photometric="rgb", metadata=None, **options)
        out[name] = buffer.getvalue()
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        picture(40, 56, bits=16).astype(np.float32),
        photometric="rgb",
        metadata=None,
        compression="deflate",
        predictor=True,
        byteorder=">",
    )
    out["float.tif"] = buffer.getvalue()
    buffer = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(picture(64, 64))).save(buffer, quality=60)
    out["a.heic"] = buffer.getvalue()
    out["ten.avif"] = imagecodecs.avif_encode(picture(40, 56, bits=16) >> 6, bitspersample=10)
    buffer = io.BytesIO()
    with OpenEXR.File(
        {
            "type": OpenEXR.scanlineimage,
            "chromaticities": (0.713, 0.293, 0.165, 0.83, 0.128, 0.044, 0.32168, 0.33767),
        },
        {"RGBA": np.ones((40, 56, 4), np.float32)},
    ) as file:
        file.write(buffer)
    out["a.exr"] = buffer.getvalue()
    out["a.dng"] = dng(np.ones((40, 56, 3)) * 0.3)
    two = ((17, COLOR_MATRIX), (21, COLOR_MATRIX[::-1]))
    out["two.dng"] = dng(np.ones((40, 56, 3)) * 0.3, matrices=two)
    save("a.bmp", "BMP")
    save("a.gif", "GIF", image.convert("P"))
    save("a.jp2", "JPEG2000", icc_profile=icc)
    save("a.tga", "TGA", compression="tga_rle")
    save("a.ppm", "PPM")
    planes = np.moveaxis(small, 2, 0).tobytes()
    out["a.psd"] = b"8BPS" + struct.pack(">H6xHIIHH", 1, 3, 40, 56, 8, 3) + bytes(14) + planes
    for name, transfer in (("pq.avif", 16), ("hlg.avif", 18)):
        codes = picture(40, 56, bits=16) >> 6
        out[name] = imagecodecs.avif_encode(codes, bitspersample=10, primaries=9, transfer=transfer)
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, picture(40, 56), photometric=8, metadata=None)
    out["lab.tif"] = buffer.getvalue()
    return out


def profiles() -> list[bytes]:
    """Profiles of every kind that is parsed by hand."""
    return [
        rgb_profile(curv(563)),
        rgb_profile(srgb_table(64), colorants=MONITOR_COLORANTS),
        rgb_profile(para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), version=4),
        rgb_profile(para(4, 2.2, 0.93, 0.07, 0.3, 0.06, 0.01, 0.00247), version=4),
        grey_profile(curv(461)),
        table_profile(3, b"RGB "),
    ]
