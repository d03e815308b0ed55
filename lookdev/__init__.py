"""Look development on scout stills: the whole job from Python.

>>> import lookdev                                                     # doctest: +SKIP
>>> still = lookdev.read_still("day1/loft_01.jpg")                     # doctest: +SKIP
>>> scout = lookdev.load_scout("day1")                                 # doctest: +SKIP
>>> reading = lookdev.reading_for("loft_01.jpg", scout.log.readings)   # doctest: +SKIP
>>> cast = lookdev.resolve_still(reading, scout.plan, still).cast      # doctest: +SKIP
>>> look = lookdev.load_look("looks/slack_water.toml")                 # doctest: +SKIP
>>> srgb = lookdev.get_encoding("sRGB")                                # doctest: +SKIP
>>> transform = look.transform(still.encoding, srgb, cast)             # doctest: +SKIP
>>> pixels = lookdev.grade_reference(still.pixels, transform)          # doctest: +SKIP
>>> lookdev.write_still("out/loft_01.png", pixels, srgb)               # doctest: +SKIP
>>> lookdev.write_cube("out/look.cube", lookdev.bake_cube(transform))  # doctest: +SKIP

Names load when they are first used; ``import lookdev`` alone costs nothing.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "LookdevError": "errors",
    "bake_cube": "lut.bake",
    "get_encoding": "colorimetry.encodings",
    "grade_fast": "render.lattice",
    "grade_reference": "render.reference",
    "load_look": "looks.toml_file",
    "load_scout": "meter.scout",
    "open_look": "lut.received",
    "read_cube": "lut.cube",
    "read_meter_log": "meter.log",
    "read_still": "stills.reader",
    "reading_for": "meter.log",
    "resolve_reading": "survey.resolve",
    "resolve_still": "survey.resolve",
    "write_cube": "lut.cube",
    "write_still": "stills.writer",
}

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'lookdev' has no attribute {name!r}")
    return getattr(importlib.import_module(f"lookdev.{_HOMES[name]}"), name)
