"""A still that is no file of its own: a view of a panorama, or a moment of a clip.

It is called by its file's path in the scout and what it is of it, with ``@`` between: ``pano.jpg@To the
ramp``, ``clip.mov@00:07``. A clip of which no moment is named is its middle, called by its path alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_TIME = re.compile(r"(?:(?P<h>\d{1,2}):)?(?P<m>\d{1,3}):(?P<s>[0-5]?\d(?:[.,]\d{1,3})?)")
_SECONDS = re.compile(r"(?P<s>\d{1,5}(?:[.,]\d{1,3})?)s?", re.IGNORECASE)


@dataclass(frozen=True)
class View:
    """A flat picture of an equirectangular panorama, as a camera in its middle takes it.

    Attributes
    ----------
    pan_deg : to the right of the panorama's middle. tilt_deg : up. roll_deg : the camera turned clockwise.
    lens_mm : focal length of a lens without distortion. gate_mm : width and height of what it exposes.
    """

    pan_deg: float = 0.0
    tilt_deg: float = 0.0
    roll_deg: float = 0.0
    lens_mm: float = 24.0
    gate_mm: tuple[float, float] = (24.9, 14.0)


@dataclass(frozen=True)
class Moment:
    """One picture of a clip, ``at_s`` seconds from its beginning; None: in its middle."""

    at_s: float | None = None


Part = View | Moment


def seconds_of(text: str) -> float | None:
    """Seconds from the beginning of a clip: ``00:07``, ``1:02:03``, ``0:07.5``, ``7s``; None if no time.

    >>> [seconds_of(text) for text in ("00:07", "1:02:03", "0:07.5", "7s", "soon")]
    [7.0, 3723.0, 7.5, 7.0, None]
    """
    found = _TIME.fullmatch(text.strip()) or _SECONDS.fullmatch(text.strip())
    if found is None:
        return None
    parts = found.groupdict()
    whole = int(parts.get("h") or 0) * 3600 + int(parts.get("m") or 0) * 60
    return whole + float(parts["s"].replace(",", "."))


def moment_words(at_s: float) -> str:
    """A moment as it is written: minutes and seconds, hours and thousandths where there are some.

    >>> moment_words(7), moment_words(3723), moment_words(7.5)
    ('00:07', '1:02:03', '00:07.5')
    """
    thousandths = round(at_s * 1000)
    minutes, left = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{left // 1000:02d}" + (f".{left % 1000:03d}".rstrip("0") if left % 1000 else "")
    return f"{hours}:{minutes:02d}:{seconds}" if hours else f"{minutes:02d}:{seconds}"
