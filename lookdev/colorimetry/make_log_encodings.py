"""Write log_encodings.csv: ``python -m lookdev.colorimetry.make_log_encodings``.

Source: the log encodings and colour spaces that colour-science registers. Kept as a file of our own so that
names of encodings are listed, and a typed one is found, without the second that colour-science takes to load.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lookdev.colorimetry.library import colour_science
from lookdev.colorimetry.log_encodings import LEFT_OUT, LogTransfer, logs, registered_space
from lookdev.files import write_whole

FILE = Path(__file__).with_name("log_encodings.csv")
_GAMUTS_OF = {
    "Apple Log Profile": ("ITU-R BT.2020",),
    "Canon Log": ("Cinema Gamut", "ITU-R BT.2020", "ITU-R BT.709"),
    "Canon Log 2": ("Cinema Gamut", "ITU-R BT.2020"),
    "Canon Log 3": ("Cinema Gamut", "ITU-R BT.2020"),
    "Cineon": ("ITU-R BT.709",),
    "F-Log": ("F-Gamut",),
    "L-Log": ("ITU-R BT.2020",),
    "Mi-Log": ("ITU-R BT.2020",),
    "S-Log": ("S-Gamut",),
}
"""Pairs that their makers name but that colour-science does not register as one colour space."""
_UNLISTED = ("DaVinci Intermediate", "T-Log")
"""What programs work in and no camera records: known by the whole name, neither listed nor guessed."""


def log_encodings_csv() -> str:
    """The text of the file: our name, log, gamut; code of mid grey, light at code 1; x, y of red, green, blue
    and white."""
    edges = [f"{of}_{axis}" for of in ("red", "green", "blue", "white") for axis in "xy"]
    lines = [",".join(("name", "log", "gamut", "mid_grey_code", "light_at_code_1", *edges))]
    for log, gamut in _registered_pairs():
        space = registered_space(gamut)
        grey = float(LogTransfer(log, inverse=True)(np.full(1, 0.18))[0])
        top = float(LogTransfer(log)(np.ones(1))[0])
        xy = [v for place in (*space.primaries_xy, space.white_xy) for v in place]
        name = log if log == gamut else f"{log} {gamut}"
        lines.append(",".join((name, log, gamut, f"{grey:.9g}", f"{top:.9g}", *map(repr, xy))))
    return "\n".join(lines) + "\n"


def _registered_pairs() -> list[tuple[str, str]]:
    colour = colour_science()
    by_function = {_function_name(colour.CCTF_ENCODINGS[name]): name for name in logs()}
    found: set[tuple[str, str]] = {(log, gamut) for log, gamuts in _GAMUTS_OF.items() for gamut in gamuts}
    for gamut, space in colour.RGB_COLOURSPACES.items():
        log = by_function.get(_function_name(space.cctf_encoding))
        if log is not None and gamut == space.name:
            found.add((log, gamut))
    return sorted(pair for pair in found if pair[0] not in (*LEFT_OUT, *_UNLISTED))


def _function_name(function: object) -> str:
    inner = getattr(function, "func", function)
    return str(getattr(inner, "__name__", repr(inner)))


if __name__ == "__main__":
    write_whole(FILE, log_encodings_csv())
