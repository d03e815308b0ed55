"""A picture of a place for its page: its first still that can be read, as it stood."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import LookdevError

MOST_TRIED = 4
BOX_PX = (400, 600)


def place_picture(stills: Iterable[Path], box: tuple[int, int] = BOX_PX) -> NDArray[np.uint8] | None:
    """uint8 sRGB (h, w, 3) inside ``box`` (height, width), or None where no still can be read.

    Only the first few are tried: a page needs one.
    """
    from lookdev.pages.thumbnails import thumbnail
    from lookdev.stills.reader import read_still

    for path in list(stills)[:MOST_TRIED]:
        try:
            still = read_still(path, enough_px=max(box))
            return thumbnail(still.pixels, still.encoding, box)
        except (LookdevError, OSError, MemoryError):
            continue
    return None
