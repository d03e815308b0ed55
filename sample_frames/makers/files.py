"""Stills as cameras write them: JPEG, HEIC, TIFF, DNG mosaic, OpenEXR; reproducible bytes."""

from __future__ import annotations

import io
import struct
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.adaptation import adaptation_matrix
from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.colorimetry.rgb_spaces import BT2020, D65_XY
from lookdev.colorimetry.temperature import balance_white_xy
from lookdev.looks.rendering import render_curve
from lookdev.stills.icc import profile_bytes
from makers.cameras import sensor_matrix
from makers.place import View

Floats = NDArray[np.float32]

MAKER = "Merle"
MODELS = {"exact": "Merle Observer", "sensor": "Merle Field"}
DATE = "2031:03:04"
FOCAL = {"exact": 24.0, "sensor": 28.0}

SUFFIX = {"jpg": ".jpg", "jpg-adobe": ".jpg", "heic": ".heic", "tiff": ".tif", "dng": ".dng", "exr": ".exr"}
ENCODING = {"jpg": "sRGB", "jpg-adobe": "Adobe RGB", "heic": "Display P3", "tiff": "Adobe RGB"}
TIFF_BITS = 10
"""Significant bits of the 16-bit TIFF, as of a camera's converter; the rest is zero and costs nothing."""


def output_codes(scene: Floats, encoding: Encoding) -> NDArray[np.float64]:
    """Code values 0..1 (h, w, 3): our rendering per channel in BT.2020, then the file's own, clipped."""
    return np.clip(encoding.from_working(render_curve(scene)), 0.0, 1.0)


def exif_block(view: View, kind: str) -> bytes:
    """EXIF as a camera on manual exposure and manual balance writes it."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    time_s, stop, iso = view.exposure
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = MAKER, MODELS[view.camera], 1
    stamp = f"{DATE} {view.time}:00"
    exif[306] = stamp
    sub = exif.get_ifd(0x8769)
    sub[0x9000] = b"0232"
    sub[0x829A] = IFDRational(*Fraction(time_s).limit_denominator(8000).as_integer_ratio())
    sub[0x829D] = IFDRational(*Fraction(stop).limit_denominator(100).as_integer_ratio())
    sub[0x8827], sub[0x8822] = iso, 1
    sub[0x9003] = sub[0x9004] = stamp
    sub[0x9208] = 0  # light source unknown: the balance was set in kelvin
    sub[0xA402], sub[0xA403] = 1, 1
    sub[0x920A] = IFDRational(int(FOCAL[view.camera]), 1)
    sub[0xA002], sub[0xA003] = view.size
    sub[0xA001] = 1 if kind == "jpg" else 65535
    if kind == "jpg-adobe":  # DCF 2.0: the option for Adobe RGB, without a profile
        sub[0xA005] = {1: "R03", 2: b"0100"}
    return bytes(exif.tobytes())


def write_view(folder: Path, view: View, scene: Floats, raw: Floats | None, balance_k: float) -> Path:
    """Write one still; ``raw`` (balanced sensor values) is what the DNG holds."""
    path = folder / f"{view.name}{SUFFIX[view.file]}"
    if view.file == "exr":
        write_exr(path, view, scene)
    elif view.file == "dng":
        assert raw is not None
        path.write_bytes(dng_bytes(view, raw, balance_k))
    else:
        path.write_bytes(_picture(view, scene))
    return path


def _picture(view: View, scene: Floats) -> bytes:
    from PIL import Image

    encoding = get_encoding(ENCODING[view.file])
    codes = output_codes(scene, encoding)
    exif = exif_block(view, view.file)
    out = io.BytesIO()
    if view.file == "tiff":
        return _tiff(view, codes, encoding)
    pixels = Image.fromarray(np.floor(codes * 255 + 0.5).astype(np.uint8))
    if view.file == "heic":
        import pillow_heif

        heif = pillow_heif.from_pillow(pixels)
        heif.save(
            out,
            quality=86,
            chroma="444",
            exif=exif,
            icc_profile=profile_bytes(encoding),
            matrix_coefficients=1,
        )
        return out.getvalue()
    icc = {} if view.file == "jpg-adobe" else {"icc_profile": profile_bytes(encoding)}
    pixels.save(out, "JPEG", quality=92, subsampling=0, optimize=True, exif=exif, **icc)
    return out.getvalue()


def _tiff(view: View, codes: NDArray[np.float64], encoding: Encoding) -> bytes:
    import tifffile

    step = 2 ** (16 - TIFF_BITS)
    pixels = (np.minimum(np.floor(codes * 65535 / step + 0.5), 2**TIFF_BITS - 1) * step).astype(np.uint16)
    out = io.BytesIO()
    time_s, stop, iso = view.exposure
    a, b = Fraction(time_s).limit_denominator(8000).as_integer_ratio()
    c, d = Fraction(stop).limit_denominator(100).as_integer_ratio()
    extra = [
        (271, "s", 0, MAKER, True),
        (272, "s", 0, MODELS[view.camera], True),
        (33434, "2I", 1, (a, b), True),
        (33437, "2I", 1, (c, d), True),
        (34855, "H", 1, iso, True),
        (37386, "2I", 1, (int(FOCAL[view.camera]), 1), True),
        (34675, "B", len(profile_bytes(encoding)), profile_bytes(encoding), True),
    ]
    tifffile.imwrite(
        out,
        pixels,
        photometric="rgb",
        compression="zlib",
        compressionargs={"level": 9},
        predictor=2,
        rowsperstrip=128,
        metadata=None,
        datetime=f"{DATE} {view.time}:00",
        software=False,
        extratags=extra,
    )
    return out.getvalue()


def write_exr(path: Path, view: View, scene: Floats) -> None:
    """Half-float scene-linear light with BT.2020 chromaticities (OpenEXR, DWAA compression)."""
    import OpenEXR

    half = np.clip(scene, -1000.0, 1000.0).astype(np.float16)
    time_s, stop, iso = view.exposure
    (rx, ry), (gx, gy), (bx, by) = BT2020.primaries_xy
    header = {
        "compression": OpenEXR.DWAA_COMPRESSION,
        "dwaCompressionLevel": 22.0,
        "type": OpenEXR.scanlineimage,
        "chromaticities": (rx, ry, gx, gy, bx, by, *D65_XY),
        "cameraModel": MODELS[view.camera],
        "expTime": float(time_s),
        "aperture": float(stop),
        "isoSpeed": float(iso),
        "nominalFocalLength": FOCAL[view.camera],
    }
    with OpenEXR.File(header, {"RGB": np.ascontiguousarray(half)}) as file:
        file.write(str(path))


# ---- DNG ---------------------------------------------------------------------------------------------------

BLACK, WHITE, BITS = 128, 2047, 11


def mosaic(raw: Floats, balance_k: float) -> NDArray[np.uint16]:
    """Sensor values (h, w), RGGB, of balanced raw light; saturation as in ISO 12232: sqrt(2) of a white."""
    neutral = as_shot_neutral(balance_k)
    sensor = raw / np.float32(np.sqrt(2.0)) * neutral.astype(np.float32)
    values = np.clip(np.floor(sensor * (WHITE - BLACK) + BLACK + 0.5), 0, WHITE).astype(np.uint16)
    out = values[..., 1].copy()
    out[0::2, 0::2] = values[0::2, 0::2, 0]
    out[1::2, 1::2] = values[1::2, 1::2, 2]
    return np.ascontiguousarray(out)


def as_shot_neutral(balance_k: float) -> NDArray[np.float64]:
    """What a neutral reads on the sensor under the balance white, the largest channel at 1."""
    neutral = sensor_matrix(balance_k)[1]
    return np.asarray(neutral / neutral.max())


def colour_matrix(balance_k: float) -> NDArray[np.float64]:
    """DNG ColorMatrix1: XYZ of the scene to sensor RGB, so that the balance white gives AsShotNeutral."""
    matrix = sensor_matrix(balance_k)[0]
    to_d65 = adaptation_matrix(tuple(balance_white_xy(balance_k)), D65_XY)
    return np.asarray(np.diag(as_shot_neutral(balance_k)) @ np.linalg.inv(matrix) @ to_d65)


def dng_bytes(view: View, raw: Floats, balance_k: float) -> bytes:
    """A DNG 1.4 with a mosaic in lossless JPEG (DNG 1.4 chapters 2 and 4)."""
    import imagecodecs

    cfa = mosaic(raw, balance_k)
    h, w = cfa.shape
    data = bytes(imagecodecs.ljpeg_encode(cfa, bitspersample=BITS))
    time_s, stop, iso = view.exposure

    def rational(values: Any, signed: bool = False) -> bytes:
        out = b""
        for v in np.ravel(values):
            f = Fraction(float(v)).limit_denominator(1_000_000)
            out += struct.pack("<ii" if signed else "<II", f.numerator, f.denominator)
        return out

    def text(s: str) -> bytes:
        return s.encode() + b"\0"

    short, long_, byte, ascii_, rat, srat, undefined = 3, 4, 1, 2, 5, 10, 7
    stamp = text(f"{DATE} {view.time}:00")
    exif = [
        (33434, rat, rational(time_s)),
        (33437, rat, rational(stop)),
        (34850, short, struct.pack("<H", 1)),
        (34855, short, struct.pack("<H", iso)),
        (36864, undefined, b"0232"),
        (36867, ascii_, stamp),
        (37386, rat, rational(FOCAL[view.camera])),
        (41986, short, struct.pack("<H", 1)),
        (41987, short, struct.pack("<H", 1)),
    ]
    main = [
        (254, long_, struct.pack("<I", 0)),
        (256, long_, struct.pack("<I", w)),
        (257, long_, struct.pack("<I", h)),
        (258, short, struct.pack("<H", BITS)),
        (259, short, struct.pack("<H", 7)),
        (262, short, struct.pack("<H", 32803)),
        (271, ascii_, text(MAKER)),
        (272, ascii_, text(MODELS[view.camera])),
        (273, long_, None),
        (274, short, struct.pack("<H", 1)),
        (277, short, struct.pack("<H", 1)),
        (278, long_, struct.pack("<I", h)),
        (279, long_, struct.pack("<I", len(data))),
        (284, short, struct.pack("<H", 1)),
        (306, ascii_, stamp),
        (33421, short, struct.pack("<HH", 2, 2)),
        (33422, byte, bytes([0, 1, 1, 2])),
        (34665, long_, None),
        (50706, byte, bytes([1, 4, 0, 0])),
        (50707, byte, bytes([1, 1, 0, 0])),
        (50708, ascii_, text(MODELS[view.camera])),
        (50710, byte, bytes([0, 1, 2])),
        (50711, short, struct.pack("<H", 1)),
        (50714, short, struct.pack("<H", BLACK)),
        (50717, short, struct.pack("<H", WHITE)),
        (50721, srat, rational(colour_matrix(balance_k), signed=True)),
        (50728, rat, rational(as_shot_neutral(balance_k))),
        (50778, short, struct.pack("<H", 23 if balance_k < 5250 else 21)),
    ]
    sizes = {byte: 1, ascii_: 1, short: 2, long_: 4, rat: 8, srat: 8, undefined: 1}

    def directory(entries: list[tuple[int, int, bytes | None]], at: int) -> bytes:
        extra_at = at + 2 + 12 * len(entries) + 4
        head, extra = struct.pack("<H", len(entries)), b""
        for tag, kind, value in entries:
            assert value is not None
            count = len(value) // sizes[kind]
            if len(value) <= 4:
                head += struct.pack("<HHI", tag, kind, count) + value.ljust(4, b"\0")
            else:
                head += struct.pack("<HHII", tag, kind, count, extra_at + len(extra))
                extra += value + b"\0" * (len(value) % 2)
        return head + struct.pack("<I", 0) + extra

    def filled(strip_at: int, exif_at: int) -> list[tuple[int, int, bytes | None]]:
        where = {273: strip_at, 34665: exif_at}
        return [(t, k, struct.pack("<I", where[t]) if v is None else v) for t, k, v in main]

    exif_at = 8 + len(directory(filled(0, 0), 8))
    strip_at = exif_at + len(directory(exif, exif_at))  # type: ignore[arg-type]
    strip_at += strip_at % 2
    body = (
        b"II*\0" + struct.pack("<I", 8) + directory(filled(strip_at, exif_at), 8) + directory(exif, exif_at)
    )  # type: ignore[arg-type]
    return body.ljust(strip_at, b"\0") + data
