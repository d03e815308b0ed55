"""A frame's shape as people type it."""

from __future__ import annotations

import re

NARROWEST, WIDEST = 1.0, 3.0


def frame_ratio(value: object) -> float:
    """A frame's ratio of width to height as it is typed: ``2.39:1``, ``1.85``, ``16:9``, ``4x3``.

    Raises
    ------
    ValueError : no ratio between 1 and 3; the message says what is wanted.

    >>> frame_ratio("2.39:1"), frame_ratio(1.85), round(frame_ratio("16:9"), 4)
    (2.39, 1.85, 1.7778)
    """
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(?:[:/x×]\s*(\d+(?:[.,]\d+)?))?\s*", str(value))
    if found is not None and not isinstance(value, bool):
        across, down = (float((part or "1").replace(",", ".")) for part in found.groups())
        if down > 0 and NARROWEST <= across / down <= WIDEST:
            return across / down
    raise ValueError('a frame such as "2.39:1", 1.85, "16:9" or "4:3"')
