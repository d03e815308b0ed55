"""The columns of ``meter.csv`` and the headings that people type for them."""

from __future__ import annotations

import difflib
import unicodedata

HEADINGS: dict[str, tuple[str, ...]] = {
    "stills": (
        "still", "file", "files", "filename", "filenames", "image", "images", "photo", "photos", "picture",
        "pictures", "frame", "frames",
    ),
    "location": ("loc", "place", "set", "room", "where", "spot"),
    "source": ("lamp", "light", "light source", "fixture", "illuminant", "lamp type"),
    "cct_k": (
        "cct", "kelvin", "k", "colour temperature", "color temperature", "colour temp", "color temp", "temp",
        "cct kelvin", "temperature",
    ),
    "duv": ("delta uv", "d uv", "δuv", "delta u v"),
    "x": ("cie x", "x 1931", "cie 1931 x", "chromaticity x", "x chromaticity"),
    "y": ("cie y", "y 1931", "cie 1931 y", "chromaticity y", "y chromaticity"),
    "lux": ("lx", "illuminance", "illuminance lux", "illuminance lx", "e lux", "level", "light level"),
    "fc": (
        "footcandles", "foot candles", "foot candle", "ft c", "ftc", "illuminance fc",
        "illuminance footcandles",
    ),
    "camera_balance_k": (
        "camera balance", "balance", "white balance", "wb", "camera wb", "camera white balance",
        "camera kelvin", "camera k", "balance k", "wb k",
    ),
    "spectrum": ("spd", "spectrum file", "spectral", "spectral file", "sd"),
    "grey": ("gray", "grey patch", "gray patch", "grey card", "gray card", "patch", "grey box", "gray box"),
    "note": ("notes", "remark", "remarks", "comment", "comments", "memo"),
    "time": ("hour", "clock", "time of day", "local time", "when"),
    "role": ("use", "key fill", "part", "function"),
}  # fmt: skip
"""Column name to other headings that are understood. Case, spaces, punctuation and a unit in brackets do not
matter: ``CCT (K)``, ``cct_k`` and ``Cct k`` are one heading."""


def _key(heading: str) -> str:
    text = unicodedata.normalize("NFKC", heading).casefold()
    return "".join(c for c in text if c.isalnum())


_BY_KEY = {_key(word): name for name, words in HEADINGS.items() for word in (name, *words)}


def column_name(heading: str) -> str | None:
    """The column that a typed heading means, or None.

    >>> column_name(" Colour Temperature (K)"), column_name("Foot-Candles"), column_name("wether")
    ('cct_k', 'fc', None)
    """
    key = _key(heading)
    if key in _BY_KEY:
        return _BY_KEY[key]
    return _BY_KEY.get(_key(heading.split("(")[0].split("[")[0])) if key else None


def nearest_column(heading: str) -> str | None:
    """The known column whose heading is spelled most like ``heading``; None if none is near.

    >>> nearest_column("kelvn"), nearest_column("weather")
    ('cct_k', None)
    """
    near = difflib.get_close_matches(_key(heading), list(_BY_KEY), n=1, cutoff=0.7)
    return _BY_KEY[near[0]] if near else None
