"""OpenEXR: scene-linear light, with the primaries that its ``chromaticities`` attribute names."""

from __future__ import annotations

from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding, linear
from lookdev.errors import StillError
from lookdev.stills.formats import Decoded, Header
from lookdev.stills.marking import space_from_chromaticities
from lookdev.stills.quiet import quiet
from lookdev.stills.still import Metadata
from lookdev.stills.tiff import finite

_KNOWN = ("Linear BT.709", "Linear BT.2020", "ACEScg", "ACES2065-1")
_SIDE_LIMIT = 1 << 20


def header(source: BinaryIO) -> Header:
    """Size of the display window, primaries, camera attributes (OpenEXR standard attributes)."""
    import OpenEXR

    with quiet():
        source.seek(0)
        file = OpenEXR.File(source, header_only=True)
        head = dict(file.header())
        parts = len(file.parts)
    names = {channel.name for channel in head["channels"]}
    if "Y" not in names and not {"R", "G", "B"} <= names:
        raise StillError(
            "no picture in this OpenEXR file",
            found=", ".join(sorted(names)) or "no channel",
            wanted="channels R, G and B, or Y",
        )
    if len(names & {"RY", "BY"}) == 1:
        raise StillError(
            "half a colour in this OpenEXR file", found=", ".join(sorted(names)), wanted="RY and BY"
        )
    if any(c.xSampling != 1 or c.ySampling != 1 for c in head["channels"]):
        found = ", ".join(sorted(c.name for c in head["channels"] if c.xSampling != 1 or c.ySampling != 1))
        raise StillError(
            "subsampled OpenEXR channels are not read", found=found, wanted="R, G, B at full size"
        )
    shown, stored = _window(head["displayWindow"]), _window(head["dataWindow"])
    height, width = shown[3] - shown[1] + 1, shown[2] - shown[0] + 1
    area = max(height * width, (stored[3] - stored[1] + 1) * (stored[2] - stored[0] + 1))
    if max(abs(v) for v in (*shown, *stored)) > _SIDE_LIMIT or area > 1_000_000_000:
        raise StillError("the picture is too large", found=f"windows {shown} and {stored}")
    return Header(
        kind="OpenEXR",
        size=(height, width),
        marked=_encoding(head.get("chromaticities")),
        metadata=_metadata(head),
        notes=(f"file of {parts} parts: the first is read",) if parts > 1 else (),
        extra=(shown, stored),
        bytes_per_pixel=4.0 * max(3, len(names)),
    )


def _window(value: Any) -> tuple[int, int, int, int]:
    (left, top), (right, bottom) = value
    return int(left), int(top), int(right), int(bottom)


def _encoding(chromaticities: Any) -> tuple[Encoding, str]:
    """Linear encoding of ``red, green, blue, white`` x, y; BT.709 if missing, as OpenEXR says."""
    if chromaticities is None:
        return get_encoding("Linear BT.709"), "OpenEXR without chromaticities: BT.709 primaries"
    values = [float(v) for v in np.ravel(chromaticities)]
    space = space_from_chromaticities(values[6:] + values[:6])
    if space is None:
        return get_encoding("Linear BT.709"), "OpenEXR chromaticities unusable: BT.709 primaries"
    for name in _KNOWN:
        if get_encoding(name).space == space:
            return get_encoding(name), f"OpenEXR chromaticities: {name}"
    made = Encoding(f"Linear {space.name}", "OpenEXR chromaticities", "scene", space, linear, linear)
    return made, f"OpenEXR chromaticities: {space.name}"


def _metadata(head: dict[str, Any]) -> Metadata:
    found = {
        "camera": _text(head.get("cameraModel")),
        "lens": _text(head.get("lensModel")),
        "exposure_time_s": _positive(head.get("expTime")),
        "f_number": _positive(head.get("aperture")),
        "iso": _positive(head.get("isoSpeed")),
        "focal_length_mm": _positive(head.get("nominalFocalLength")),
    }
    names = ("cameraModel", "lensModel", "expTime", "aperture", "isoSpeed", "nominalFocalLength")
    origins = {
        key: f"OpenEXR {name}" for key, name in zip(found, names, strict=True) if found[key] is not None
    }
    return Metadata(**found, origins=origins)  # type: ignore[arg-type]


def _text(value: Any) -> str | None:
    return " ".join(value.split())[:120] or None if isinstance(value, str) else None


def _positive(value: Any) -> float | None:
    number = float(value) if isinstance(value, (int, float)) else 0.0
    return number if np.isfinite(number) and number > 0 else None


def decode(source: BinaryIO, head: Header, *, salvage: bool = False, reduce: int = 1) -> Decoded:
    """Float pixels of the display window; black where the data window leaves it empty."""
    import OpenEXR

    source.seek(0)
    with quiet() as said:
        channels = OpenEXR.File(source).channels()
    found = {name: channel.pixels for name, channel in channels.items()}
    body = _first(found, ("RGB", "RGBA", "Y", "YA", "R"))
    if body is None:
        raise StillError("cannot be decoded", found=" ".join(said.getvalue().split()) or "no pixels")
    pixels = np.asarray(body, dtype=np.float32)
    if pixels.ndim == 2:
        alpha = found.get("A")
        rgb = _from_chroma(pixels, found, head)
    else:
        alpha = pixels[..., 3] if pixels.shape[2] == 4 else None
        rgb = pixels[..., :3]
    rgb, warnings = finite(np.ascontiguousarray(rgb))
    shown, stored = head.extra
    rgb = _placed(rgb, shown, stored)
    if alpha is not None:
        alpha = _placed(np.nan_to_num(np.asarray(alpha, dtype=np.float32)), shown, stored)
    return Decoded(rgb, "RGB", alpha, premultiplied=True, warnings=warnings)


def _from_chroma(luminance: NDArray[Any], found: dict[str, Any], head: Header) -> NDArray[Any]:
    """RGB of luminance alone, or with RY = (R - Y) / Y and BY = (B - Y) / Y (OpenEXR, luminance/chroma)."""
    if found.get("RY") is None or head.marked is None:
        return luminance[..., None].repeat(3, axis=2)
    weights = head.marked[0].space.to_xyz[1]
    red = luminance * (np.asarray(found["RY"], dtype=np.float32) + 1)
    blue = luminance * (np.asarray(found["BY"], dtype=np.float32) + 1)
    green = (luminance - weights[0] * red - weights[2] * blue) / weights[1]
    return np.stack([red, green, blue], axis=-1).astype(np.float32)


def _first(found: dict[str, Any], names: tuple[str, ...]) -> Any:
    return next((found[name] for name in names if found.get(name) is not None), None)


def _placed(
    pixels: NDArray[Any], shown: tuple[int, int, int, int], stored: tuple[int, int, int, int]
) -> NDArray[Any]:
    """Pixels of the data window ``stored`` seen through the display window ``shown``."""
    if shown == stored:
        return pixels
    height, width = shown[3] - shown[1] + 1, shown[2] - shown[0] + 1
    out = np.zeros((height, width, *pixels.shape[2:]), dtype=pixels.dtype)
    left, top = max(shown[0], stored[0]), max(shown[1], stored[1])
    right, bottom = min(shown[2], stored[2]) + 1, min(shown[3], stored[3]) + 1
    if left < right and top < bottom:
        out[top - shown[1] : bottom - shown[1], left - shown[0] : right - shown[0]] = pixels[
            top - stored[1] : bottom - stored[1], left - stored[0] : right - stored[0]
        ]
    return out
