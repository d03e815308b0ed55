"""Camera settings from EXIF (CIPA DC-008-2023, Exif 3.0), and an EXIF block for written stills."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextlib import suppress
from fractions import Fraction
from typing import Any, BinaryIO

from lookdev.colorimetry.illuminants import illuminant_xy
from lookdev.stills.still import Metadata
from lookdev.text import numbers

# CIPA DC-008-2023 table for LightSource (0x9208)
LIGHT_SOURCES = {
    1: "daylight",
    2: "fluorescent",
    3: "tungsten",
    4: "flash",
    9: "fine weather",
    10: "cloudy weather",
    11: "shade",
    12: "daylight fluorescent",
    13: "day white fluorescent",
    14: "cool white fluorescent",
    15: "white fluorescent",
    16: "warm white fluorescent",
    17: "standard light A",
    18: "standard light B",
    19: "standard light C",
    20: "D55",
    21: "D65",
    22: "D75",
    23: "D50",
    24: "ISO studio tungsten",
}
_LIGHT_ILLUMINANT = {17: "A", 20: "D55", 21: "D65", 22: "D75", 23: "D50"}
# Colour temperatures that camera presets of these names are commonly set to; 24 is ISO 7589 studio tungsten.
_LIGHT_KELVIN = {1: 5500.0, 3: 3200.0, 4: 5500.0, 9: 5500.0, 10: 6500.0, 11: 7500.0, 24: 3200.0}

_MAKE, _MODEL, _ORIENTATION, _DATETIME = 0x010F, 0x0110, 0x0112, 0x0132
_SOFTWARE, _COPYRIGHT = 0x0131, 0x8298
_EXIF_IFD, _GPS_IFD, _INTEROP_IFD = 0x8769, 0x8825, 0xA005
_EXPOSURE, _FNUMBER, _ISO = 0x829A, 0x829D, 0x8827
_ISO_LARGE = (0x8832, 0x8831, 0x8833)  # recommended exposure index, standard output sensitivity, ISO speed
_ORIGINAL, _BIAS, _LIGHT, _FOCAL = 0x9003, 0x9204, 0x9208, 0x920A
_COLOUR_SPACE, _WHITE_BALANCE, _LENS_MAKE, _LENS = 0xA001, 0xA403, 0xA433, 0xA434
PRIVATE_TAGS = (0xA430, 0xA431, 0xA435, 0xC62F)  # camera owner, body, lens and camera serial numbers


def load_exif(data: bytes | BinaryIO | None) -> Any:
    """Pillow's Exif of a block with or without its ``Exif`` marker, or of an open file that begins as one;
    None if it cannot be read."""
    if not data:
        return None
    from PIL import Image

    exif = Image.Exif()
    try:
        if isinstance(data, bytes):
            exif.load(data)
        else:
            data.seek(0)
            exif.load_from_fp(data)
        len(exif)
    except Exception:  # Pillow raises whatever a broken block leads it to
        return None
    return exif


def _ifd(exif: Any, tag: int) -> dict[int, Any]:
    try:
        return dict(exif.get_ifd(tag))
    except Exception:
        return {}


def metadata_from_exif(data: bytes | BinaryIO | None) -> Metadata:
    """Camera settings of what :func:`load_exif` takes; what is unreadable is left out, never an error."""
    exif = load_exif(data)
    if exif is None:
        return Metadata()
    main: dict[int, Any] = {}
    with suppress(Exception):
        main = dict(exif)
    sub = {**main, **_ifd(exif, _EXIF_IFD)}
    found: dict[str, Any] = {
        "camera": _camera(_text(main.get(_MAKE)), _text(main.get(_MODEL))),
        "lens": _text(sub.get(_LENS)),
        "exposure_time_s": _number(sub.get(_EXPOSURE), 1e-7, 1e6),
        "f_number": _number(sub.get(_FNUMBER), 0.1, 1e3),
        "iso": _iso(sub),
        "date": _date(sub.get(_ORIGINAL)) or _date(main.get(_DATETIME)),
        "focal_length_mm": _number(sub.get(_FOCAL), 0.1, 1e5),
        "exposure_bias_stops": _number(sub.get(_BIAS), -30, 30),
        "light_source": LIGHT_SOURCES.get(_integer(sub.get(_LIGHT)) or 0),
        "white_balance": {0: "auto", 1: "manual"}.get(_integer(sub.get(_WHITE_BALANCE)) or 0)
        if _WHITE_BALANCE in sub
        else None,
    }
    tags = {
        "camera": "EXIF Make, Model",
        "lens": "EXIF LensModel",
        "exposure_time_s": "EXIF ExposureTime",
        "f_number": "EXIF FNumber",
        "iso": "EXIF PhotographicSensitivity",
        "date": "EXIF DateTimeOriginal" if _date(sub.get(_ORIGINAL)) else "EXIF DateTime",
        "focal_length_mm": "EXIF FocalLength",
        "exposure_bias_stops": "EXIF ExposureBiasValue",
        "light_source": "EXIF LightSource",
        "white_balance": "EXIF WhiteBalance",
    }
    origins = {name: tags[name] for name, value in found.items() if value is not None}
    if found["white_balance"] == "manual":
        xy, kelvin, words = _preset(_integer(sub.get(_LIGHT)) or 0)
        if xy is not None:
            found |= {"camera_balance_xy": xy, "camera_balance_k": kelvin}
            origins |= {"camera_balance_xy": words, "camera_balance_k": words}
    orientation = orientation_of(exif)
    if orientation != 1:
        origins["orientation"] = "EXIF Orientation"
    gps = bool(_ifd(exif, _GPS_IFD))
    return Metadata(
        **found, orientation=orientation, has_gps=gps, origins=origins, private=_private_block(exif)
    )


def _iso(sub: dict[int, Any]) -> float | None:
    """PhotographicSensitivity, or where that is full (65535) the tag that Exif 2.3 added."""
    for tag in (_ISO, *_ISO_LARGE):
        value = _number(sub.get(tag), 1, 65534 if tag == _ISO else 1e8)
        if value is not None:
            return value
    return None


def _preset(light: int) -> tuple[tuple[float, float] | None, float | None, str]:
    """White of a balance preset, where its name has a definition or a common value."""
    words = f"EXIF LightSource {LIGHT_SOURCES.get(light, '')}, manual balance"
    if light in _LIGHT_ILLUMINANT:
        from lookdev.colorimetry.temperature import cct_duv_from_xy

        x, y = (float(v) for v in illuminant_xy(_LIGHT_ILLUMINANT[light]))
        return (x, y), round(cct_duv_from_xy((x, y))[0]), words
    if light in _LIGHT_KELVIN:
        from lookdev.colorimetry.temperature import balance_white_xy

        kelvin = _LIGHT_KELVIN[light]
        x, y = (float(v) for v in balance_white_xy(kelvin))
        return (x, y), kelvin, f"{words}, taken as {numbers.kelvin(kelvin)}"
    return None, None, ""


def orientation_of(exif: Any) -> int:
    """Orientation tag 1 to 8; 1 for none or nonsense."""
    value = None
    with suppress(Exception):
        value = _integer(exif.get(_ORIENTATION))
    return value if value is not None and 1 <= value <= 8 else 1


def dcf_encoding_name(data: bytes | BinaryIO | None) -> tuple[str, str] | None:
    """Encoding name and words of the DCF marking (CIPA DC-009-2010): ColorSpace 1 is sRGB; 2 in common use,
    or 65535 with InteroperabilityIndex R03, is Adobe RGB. None if nothing is marked.
    """
    exif = load_exif(data)
    if exif is None:
        return None
    sub = _ifd(exif, _EXIF_IFD)
    space = _integer(sub.get(_COLOUR_SPACE))
    index = ""
    with suppress(Exception):
        index = str(_text(_interop(exif).get(1)) or "")
    if space == 2:
        return "Adobe RGB", "DCF marking: Adobe RGB (EXIF ColorSpace 2)"
    if space in (65535, None) and index == "R03":
        return "Adobe RGB", "DCF marking: Adobe RGB (InteroperabilityIndex R03)"
    if space == 1:
        return "sRGB", "DCF marking: sRGB (EXIF ColorSpace 1)"
    return None


def _interop(exif: Any) -> dict[int, Any]:
    found = _ifd(exif, _INTEROP_IFD)
    if found:
        return found
    nested = _ifd(exif, _EXIF_IFD).get(_INTEROP_IFD)
    return dict(nested) if isinstance(nested, dict) else {}


def _text(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    clean = "".join(c if c.isprintable() else " " for c in value.split("\0")[0]).strip()
    return clean[:120] or None


def _camera(make: str | None, model: str | None) -> str | None:
    if make and model and not model.casefold().startswith(make.casefold().split()[0]):
        return f"{make} {model}"
    return model or make


def _number(value: Any, low: float, high: float) -> float | None:
    if isinstance(value, (tuple, list)) and value:
        value = value[0]
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and low <= number <= high else None


def _integer(value: Any) -> int | None:
    number = _number(value, -(2**31), 2**32)
    return None if number is None else int(number)


def _date(value: Any) -> str | None:
    text = _text(value)
    match = re.fullmatch(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d).*", text or "")
    if match is None or match[1] == "0000":
        return None
    return f"{match[1]}-{match[2]}-{match[3]}T{match[4]}:{match[5]}:{match[6]}"


def exif_bytes(metadata: Metadata, *, encoding_name: str, keep_private: bool = False) -> bytes:
    """EXIF block for a written still: upright, camera settings, no position, no serial numbers.

    Parameters
    ----------
    metadata : what to keep; without a single value, the block still says orientation 1 and the colour space.
    encoding_name : decides ColorSpace: 1 for sRGB, else 65535 (uncalibrated; the ICC profile rules).
    keep_private : also keep position, owner and serial numbers that were in the still.
    """
    from PIL import Image

    exif = Image.Exif()
    exif[_ORIENTATION] = 1
    if metadata.camera:
        exif[_MODEL] = metadata.camera
    if metadata.date:
        exif[_DATETIME] = metadata.date.replace("-", ":").replace("T", " ")
    exif[_SOFTWARE] = "lookdev"
    sub = exif.get_ifd(_EXIF_IFD)
    sub[0x9000] = b"0232"
    sub[_COLOUR_SPACE] = 1 if encoding_name == "sRGB" else 65535
    if metadata.date:
        sub[_ORIGINAL] = metadata.date.replace("-", ":").replace("T", " ")
    rationals = {
        _EXPOSURE: metadata.exposure_time_s,
        _FNUMBER: metadata.f_number,
        _FOCAL: metadata.focal_length_mm,
        _BIAS: metadata.exposure_bias_stops,
    }
    for tag, value in rationals.items():
        if value is not None:
            sub[tag] = _rational(value)
    if metadata.iso is not None:
        sub[_ISO] = min(round(metadata.iso), 65535)
    if metadata.lens:
        sub[_LENS] = metadata.lens
    numbers = {words: number for number, words in LIGHT_SOURCES.items()}
    if metadata.light_source in numbers:
        sub[_LIGHT] = numbers[metadata.light_source]
    if metadata.white_balance in ("auto", "manual"):
        sub[_WHITE_BALANCE] = 0 if metadata.white_balance == "auto" else 1
    if keep_private:
        _copy_private(load_exif(metadata.private), exif)
    return bytes(exif.tobytes())


Directory = Callable[[int], bytes]
"""An image file directory as bytes, little-endian, for the place in the file where it will stand."""


def exif_directories(block: bytes) -> dict[int, Directory]:
    """The Exif and GPS directories of a block by the tags that point to them, for a TIFF.

    A TIFF holds them as an EXIF block does; TIFF/EP (ISO 12234-2) has the GPS pointer too.
    """
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    exif = load_exif(block)
    found: dict[int, Directory] = {}
    for pointer in (_EXIF_IFD, _GPS_IFD):
        values = _ifd(exif, pointer)
        if values:
            directory = ImageFileDirectory_v2(ifh=b"II*\0\0\0\0\0", group=pointer)
            for tag, value in values.items():
                directory[tag] = value
            found[pointer] = directory.tobytes
    return found


def _copy_private(source: Any, target: Any) -> None:
    if source is None:
        return
    gps = _ifd(source, _GPS_IFD)
    if gps:
        target.get_ifd(_GPS_IFD).update(gps)
    sub = {**dict(source), **_ifd(source, _EXIF_IFD)}  # TIFF/EP and DNG keep them in the first directory
    target.get_ifd(_EXIF_IFD).update({tag: sub[tag] for tag in PRIVATE_TAGS if tag in sub})


def _private_block(source: Any) -> bytes | None:
    from PIL import Image

    kept = Image.Exif()
    try:
        _copy_private(source, kept)
        return bytes(kept.tobytes()) if kept.get_ifd(_EXIF_IFD) or kept.get_ifd(_GPS_IFD) else None
    except Exception:  # a broken block cannot be written again
        return None


def _rational(value: float) -> Any:
    from PIL.TiffImagePlugin import IFDRational

    short = Fraction(value).limit_denominator(1_000_000)
    return IFDRational(short.numerator, short.denominator)
