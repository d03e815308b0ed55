"""A still: pixels, what their code values mean, and what the camera wrote about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding

PANORAMA_ASPECT = 1.98


@dataclass(frozen=True)
class Metadata:
    """What the file says about the picture. Every value may be None.

    Attributes
    ----------
    camera, lens : maker and model in one text; lens model.
    exposure_time_s, f_number, iso, focal_length_mm, exposure_bias_stops : as the camera wrote them.
    date : local time of the exposure, ISO 8601 without a zone ("2031-03-04T17:05:00").
    light_source : the EXIF LightSource tag in words.
    white_balance : "auto", "manual" or None.
    camera_balance_xy, camera_balance_k : the white that the camera was set to, where the file tells: a raw
        file's as-shot neutral, or a preset of known colour temperature.
    orientation : the orientation tag 1 to 8 as found in the file; the pixels are upright already.
    projection : of a panorama, as GPano:ProjectionType says ("equirectangular").
    is_utc : ``date`` is universal time, as a clip's container has it.
    has_gps : whether the file holds a position. It is never written, unless asked for.
    origins : field name to where its value came from ("EXIF FNumber").
    private : an EXIF block of position, owner and serial numbers, for a caller who asks to keep them.
    """

    camera: str | None = None
    lens: str | None = None
    exposure_time_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    date: str | None = None
    focal_length_mm: float | None = None
    exposure_bias_stops: float | None = None
    light_source: str | None = None
    white_balance: str | None = None
    camera_balance_xy: tuple[float, float] | None = None
    camera_balance_k: float | None = None
    orientation: int = 1
    projection: str | None = None
    is_utc: bool = False
    has_gps: bool = False
    origins: Mapping[str, str] = field(default_factory=dict)
    private: bytes | None = field(default=None, repr=False)


def merged(first: Metadata, second: Metadata) -> Metadata:
    """``first`` with what it lacks taken from ``second``."""
    names = [
        n for n in Metadata.__dataclass_fields__ if n not in ("origins", "orientation", "has_gps", "is_utc")
    ]
    take = {n: getattr(second, n) for n in names if getattr(first, n) is None}
    origins = {**{k: v for k, v in second.origins.items() if k in take}, **first.origins}
    has_gps = first.has_gps or second.has_gps
    return replace(first, **take, origins=origins, has_gps=has_gps)


@dataclass(frozen=True)
class Still:
    """One picture, upright.

    Attributes
    ----------
    path : the file.
    pixels : (height, width, 3) uint8, uint16 or float32 code values of ``encoding``.
    encoding : what the code values mean, with the image state.
    encoding_origin : which marking ruled ("embedded ICC profile 'Display P3'", "assumed sRGB").
    metadata : camera settings.
    warnings : things to know before trusting the colour; they reach the sheet and summary.json.
    notes : harmless facts (a gain map left aside, the first of several pictures).
    full_size : (height, width) upright, before any reduction.
    is_panorama : 2:1 or wider, or marked as an equirectangular picture.
    kind : format of the file, as the reader's header names it ("JPEG", "raw"); empty for a clip.
    hdr : the HDR encoding (PQ, HLG) that the file holds, where it does: what an HDR version of it would be
        written in. ``encoding`` is then the scene light that was made of it.
    """

    path: Path
    pixels: NDArray[Any]
    encoding: Encoding
    encoding_origin: str
    metadata: Metadata = field(default_factory=Metadata)
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    full_size: tuple[int, int] = (0, 0)
    is_panorama: bool = False
    kind: str = ""
    hdr: Encoding | None = None

    def signal(self) -> NDArray[np.float64]:
        """Code values (height, width, 3) as float64: uint8 / 255, uint16 / 65535, float as it is."""
        return signal_of(self.pixels)


def signal_of(pixels: NDArray[Any]) -> NDArray[np.float64]:
    """Signal of code values of any shape: uint8 / 255, uint16 / 65535, float as it is.

    >>> signal_of(np.array([0, 255], np.uint8)).tolist()
    [0.0, 1.0]
    """
    if pixels.dtype == np.uint8:
        return np.asarray(pixels / 255.0)
    if pixels.dtype == np.uint16:
        return np.asarray(pixels / 65535.0)
    return np.asarray(pixels, dtype=np.float64)


def code_values(signal: NDArray[Any], dtype: Any) -> NDArray[Any]:
    """Code values of a signal in ``dtype`` (uint8, uint16: rounded half up and clipped; float: as it is)."""
    top = {np.dtype(np.uint8): 255, np.dtype(np.uint16): 65535}.get(np.dtype(dtype))
    if top is None:
        return np.asarray(signal, dtype=dtype)
    return np.asarray(np.floor(np.clip(signal, 0.0, 1.0) * top + 0.5).astype(dtype))


def spread(codes: NDArray[Any], bits: int) -> NDArray[np.uint16]:
    """``bits``-bit codes scaled so that the largest becomes 65535, rounded half up.

    >>> spread(np.array([0, 512, 1023], np.uint16), 10).tolist()
    [0, 32800, 65535]
    """
    top = (1 << bits) - 1
    wide = codes.astype(np.uint32)
    return ((wide * (2 * 65535) + top) // (2 * top)).astype(np.uint16)
