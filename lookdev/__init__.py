"""Look development on scout stills, from a script: whatever the command line can do.

A scout is resolved once, a look is loaded, a job takes a request and gives a result:

>>> from pathlib import Path
>>> import lookdev
>>> scout = lookdev.open_scout("day1")                                          # doctest: +SKIP
>>> looks = lookdev.open_looks(["looks"])                                       # doctest: +SKIP
>>> done = lookdev.batch(lookdev.BatchRequest(scout, looks, Path("out")))       # doctest: +SKIP
>>> done.errors                                                                 # doctest: +SKIP
[]

Still by still, with the very pixels of that batch:

>>> look = lookdev.load_look("looks/slack_water.toml")                          # doctest: +SKIP
>>> for still in lookdev.survey(scout).usable:                                  # doctest: +SKIP
...     pixels, encoding = lookdev.grade(still, look)
...     lookdev.write_still(Path("graded") / f"{still.path.stem}.jpg", pixels, encoding)

A job prints nothing; what it has to say goes to ``tell``, its second argument. Names load when they are first
used: ``import lookdev`` alone costs nothing. What is wrong with a request or a file is a ``LookdevError``.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "ApartRequest": "jobs.paint_requests",
    "BatchRequest": "jobs.batch",
    "BatchResult": "jobs.batch",
    "Cast": "looks.cast",
    "ChoicesRequest": "jobs.choices",
    "ChoicesResult": "jobs.choices",
    "CubesRequest": "jobs.cubes",
    "CubesResult": "jobs.cubes",
    "Encoding": "colorimetry.encodings",
    "FacesRequest": "jobs.faces",
    "FacesResult": "jobs.faces",
    "Handoff": "jobs.handoff_parts",
    "HandoffRequest": "jobs.handoff_parts",
    "LightRequest": "jobs.light",
    "LightResult": "jobs.light",
    "LearnRequest": "jobs.learn",
    "LearnResult": "jobs.learn",
    "LikeRequest": "jobs.like",
    "LikeResult": "jobs.like",
    "Line": "jobs.common",
    "Look": "looks.model",
    "LookdevError": "errors",
    "MatchRequest": "jobs.paint_requests",
    "PaletteRequest": "jobs.paint_requests",
    "PitchRequest": "jobs.pitch",
    "PitchResult": "jobs.pitch",
    "Place": "survey.places",
    "PredictRequest": "jobs.paint_requests",
    "Progress": "jobs.common",
    "RequestError": "errors",
    "Scout": "meter.scout",
    "SheetsRequest": "jobs.sheets",
    "SheetsResult": "jobs.sheets",
    "Survey": "survey.survey",
    "SurveyedStill": "survey.survey",
    "WatchRequest": "jobs.watch",
    "WedgeRequest": "jobs.wedge",
    "WedgeResult": "jobs.wedge",
    "MixRequest": "jobs.mix",
    "Differences": "jobs.mix",
    "DifferencesRequest": "jobs.mix",
    "bake_cube": "lut.bake",
    "batch": "jobs.batch:run",
    "choices": "jobs.choices:run",
    "cubes": "jobs.cubes:run",
    "encoding_names": "colorimetry.encodings",
    "faces": "jobs.faces:run",
    "get_encoding": "colorimetry.encodings",
    "grade": "jobs.graded",
    "grade_fast": "render.lattice",
    "grade_reference": "render.reference",
    "handoff": "jobs.handoff:run",
    "inspect_cdl": "lut.cdl_inspection",
    "inspect_lut": "lut.inspection",
    "learn": "jobs.learn:run",
    "like": "jobs.like:run",
    "light": "jobs.light:run",
    "load_look": "looks.toml_file",
    "open_look": "lut.received",
    "open_looks": "lut.received",
    "open_scout": "jobs.common",
    "paint": "jobs.paint:run",
    "pitch": "jobs.pitch:run",
    "read_cube": "lut.cube",
    "read_meter_log": "meter.log",
    "read_still": "stills.reader",
    "rebuild": "lut.rebuild",
    "sheets": "jobs.sheets:run",
    "survey": "survey.survey",
    "verify": "lut.verify",
    "watch": "jobs.watch:run",
    "wedge": "jobs.wedge:run",
    "mix": "jobs.mix:mix",
    "differences": "jobs.mix:differences",
    "mixed": "looks.mix",
    "write_cube": "lut.cube",
    "write_still": "stills.writer",
}
"""Where each name lives; after a colon, what it is called there."""

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'lookdev' has no attribute {name!r}")
    home, _, called = _HOMES[name].partition(":")
    return getattr(importlib.import_module(f"lookdev.{home}"), called or name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Package(ModuleType):
    """``lookdev.survey``, ``sheets``, ``paint`` and ``watch`` are the jobs, though rooms are called so too.

    Importing a module in such a room would set the package's attribute to the room; here it does not.
    ``from lookdev.paint.chip import Chip`` works as ever.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
