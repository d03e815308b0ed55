"""Files that the still tests read: profiles, DNG, EXIF; made here, or by the formats' own writers."""

from __future__ import annotations

import io
import struct
from typing import Any

import numpy as np

D50 = (0.9642, 1.0, 0.8249)
# Colorants in the D50 PCS that published sRGB profiles hold (IEC 61966-2-1 primaries, Bradford)
SRGB_COLORANTS = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
WIDE_COLORANTS = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
# A monitor of its own: primaries between sRGB and P3
MONITOR_COLORANTS = ((0.47, 0.235, 0.008), (0.34, 0.70, 0.075), (0.1542, 0.065, 0.7419))


def fixed(*values: float) -> bytes:
    """s15Fixed16Number (ICC.1:2022 4.6)."""
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def curv(*entries: int) -> bytes:
    """curveType (ICC.1:2022 10.6)."""
    return b"curv\0\0\0\0" + struct.pack(">I", len(entries)) + struct.pack(f">{len(entries)}H", *entries)


def para(number: int, *values: float) -> bytes:
    """parametricCurveType (ICC.1:2022 10.18)."""
    return b"para\0\0\0\0" + struct.pack(">HH", number, 0) + fixed(*values)


def description(text: str, version: int) -> bytes:
    """textDescriptionType for version 2, multiLocalizedUnicodeType for version 4."""
    if version == 2:
        raw = text.encode("ascii") + b"\0"
        return b"desc\0\0\0\0" + struct.pack(">I", len(raw)) + raw + b"\0" * 78
    raw = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(raw), 28) + raw


def profile(
    tags: dict[bytes, bytes],
    *,
    space: bytes = b"RGB ",
    kind: bytes = b"mntr",
    pcs: bytes = b"XYZ ",
    version: int = 2,
    name: str = "Test room",
) -> bytes:
    """An ICC profile of the given tags."""
    text = b"text\0\0\0\0none\0" if version == 2 else description("none", 4)
    everything = {
        b"desc": description(name, version),
        b"cprt": text,
        b"wtpt": b"XYZ \0\0\0\0" + fixed(*D50),
        **tags,
    }
    table, body = b"", b""
    start = 132 + 12 * len(everything)
    for tag, data in everything.items():
        table += struct.pack(">4sII", tag, start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    size = start + len(body)
    head = struct.pack(
        ">I4sI4s4s4s6H4s", size, b"\0" * 4, version << 24, kind, space, pcs, *(2025, 1, 1, 0, 0, 0), b"acsp"
    )
    head = head.ljust(68, b"\0") + fixed(*D50)
    return head.ljust(128, b"\0") + struct.pack(">I", len(everything)) + table + body


def rgb_profile(
    red: bytes,
    green: bytes | None = None,
    blue: bytes | None = None,
    *,
    colorants: Any = SRGB_COLORANTS,
    version: int = 2,
    name: str = "Test room",
) -> bytes:
    """A matrix/TRC profile."""
    tags = {
        tag: b"XYZ \0\0\0\0" + fixed(*xyz)
        for tag, xyz in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)
    }
    tags |= {b"rTRC": red, b"gTRC": green or red, b"bTRC": blue or red}
    return profile(tags, version=version, name=name)


def grey_profile(curve: bytes, *, version: int = 2) -> bytes:
    """A grey profile with one curve."""
    return profile({b"kTRC": curve}, space=b"GRAY", version=version, name="Grey room")


def srgb_table(count: int = 1024) -> bytes:
    """IEC 61966-2-1 5.2 as a curveType table."""
    x = np.linspace(0, 1, count)
    y = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    return curv(*np.floor(y * 65535 + 0.5).astype(int).tolist())


def table_profile(channels: int, space: bytes) -> bytes:
    """A lut16Type A2B0 profile (ICC.1:2022 10.10) to Lab: inks or lights mixed plainly, 5 nodes a side."""
    nodes = 5
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, nodes)] * channels, indexing="ij"), axis=-1).reshape(
        -1, channels
    )
    light = (1 - grid[:, :3]) * (1 - 0.9 * grid[:, 3:4]) if channels == 4 else grid
    colorants = np.array(WIDE_COLORANTS) * 0.9
    xyz = (0.02 + 0.98 * light**2.0) @ colorants
    f = np.cbrt(np.maximum(xyz / np.array(D50), 1e-4))
    lab = np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=-1)
    codes = np.stack([lab[:, 0] / 100 * 65280, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256], axis=-1)
    values = np.clip(np.floor(codes + 0.5), 0, 65535).astype(">u2")
    ramp = struct.pack(">2H", 0, 65535)
    lut = b"mft2\0\0\0\0" + bytes([channels, 3, nodes, 0]) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    lut += struct.pack(">HH", 2, 2) + ramp * channels + values.tobytes() + ramp * 3
    return profile({b"A2B0": lut}, space=space, kind=b"prtr", pcs=b"Lab ", name="Print room")


def exif_block(
    main: dict[int, Any] | None = None, sub: dict[int, Any] | None = None, **ifds: dict[int, Any]
) -> bytes:
    """An EXIF block by Pillow; ``gps`` and ``interop`` name the other directories."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    exif = Image.Exif()
    ratios = {tag: IFDRational(*value) for tag, value in (sub or {}).items() if isinstance(value, tuple)}
    for tag, value in (main or {}).items():
        exif[tag] = value
    exif.get_ifd(0x8769).update({**(sub or {}), **ratios})
    if "gps" in ifds:
        exif.get_ifd(0x8825).update(ifds["gps"])
    if "interop" in ifds:
        exif.get_ifd(0x8769)[0xA005] = ifds["interop"]
    return bytes(exif.tobytes())


COLOR_MATRIX = np.array([[0.9, -0.3, -0.1], [-0.4, 1.2, 0.2], [-0.05, 0.2, 0.6]])


def dng(
    camera: Any,
    *,
    neutral: Any = (0.5, 1.0, 0.66),
    white: int = 16383,
    black: int = 512,
    orientation: int = 1,
    baseline: float | None = None,
    matrices: tuple[tuple[int, Any], ...] = ((21, COLOR_MATRIX),),
) -> bytes:
    """A DNG 1.4 with an RGGB mosaic of camera RGB (h, w, 3) in [0, 1] of saturation.

    ``matrices``: one or two of EXIF light source and colour matrix.
    """
    import tifffile

    camera = np.asarray(camera)
    mosaic = camera[..., 1].copy()
    mosaic[0::2, 0::2] = camera[0::2, 0::2, 0]
    mosaic[1::2, 1::2] = camera[1::2, 1::2, 2]
    codes = np.clip(np.round(black + mosaic * (white - black)), 0, white).astype(np.uint16)

    def ratios(values: Any) -> list[int]:
        return [part for v in np.ravel(values) for part in (round(float(v) * 100000), 100000)]

    tags: list[Any] = [
        (271, 2, 0, "Tin Box", True),
        (272, 2, 0, "Tin Box 3", True),
        (274, 3, 1, orientation, True),
        (33421, 3, 2, (2, 2), True),
        (33422, 1, 4, bytes([0, 1, 1, 2]), True),
        (33434, 5, 1, (1, 50), True),
        (33437, 5, 1, (40, 10), True),
        (34855, 3, 1, 800, True),
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50707, 1, 4, bytes([1, 1, 0, 0]), True),
        (50708, 2, 0, "Tin Box 3", True),
        (50714, 3, 1, black, True),
        (50717, 3, 1, white, True),
        *((50721 + i, 10, 9, ratios(matrix), True) for i, (_, matrix) in enumerate(matrices)),
        (50728, 5, 3, ratios(neutral), True),
        *((50778 + i, 3, 1, light, True) for i, (light, _) in enumerate(matrices)),
    ]
    if baseline is not None:
        tags.append((50730, 10, 1, (round(baseline * 100), 100), True))
    out = io.BytesIO()
    tifffile.imwrite(out, codes, photometric=32803, metadata=None, software="", extratags=sorted(tags))
    return out.getvalue()


def picture(height: int = 48, width: int = 64, *, seed: int = 1, bits: int = 8) -> np.ndarray:
    """A smooth coloured picture (h, w, 3) that codecs do not tear."""
    import cv2

    rng = np.random.default_rng(seed)
    small = rng.random((4, 5, 3)).astype(np.float32)
    signal = np.clip(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), 0, 1)
    top, kind = (255, np.uint8) if bits == 8 else (65535, np.uint16)
    return np.floor(signal * top + 0.5).astype(kind)
