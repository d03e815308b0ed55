"""One place of the pitch drawn by itself, as soon as its stills are there: then its large pictures can go."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from lookdev.pages.pitch_html import room_of_a_place, screen_pictures
from lookdev.pages.pitch_model import Drawn, Picture, PitchLook, PitchPlace
from lookdev.pages.pitch_pdf import place_page
from lookdev.pages.thumbnails import fit_size, resize_srgb

_FEW, _SOME = 2, 6
_LARGE_PX, _SMALL_PX = 960, 720
"""Long side that suffices at 220 dpi for a look that is not proposed (630 pixels) and on the pages of all
places: up to six of them 886, more 489."""


def drawn_place(
    place: PitchPlace, looks: tuple[PitchLook, ...], surround: Literal["dark", "grey"], places: int
) -> PitchPlace:
    """``place``, one of so many, with its page and its pictures for the browser made (``drawn``).

    What is left of its pictures is what the pages of all places show: the still as it stood and in the
    proposed look, no larger than there.
    """
    most = _LARGE_PX if places <= _SOME else _SMALL_PX
    stood, *small = (_reduced(picture, most) for picture in (place.stood, *place.pictures))
    at = place.proposed
    beside = tuple(place.shown if i == at else picture for i, picture in enumerate(small))
    page, frame = place_page(replace(place, pictures=beside), looks, surround)
    drawn = Drawn(page, frame, screen_pictures(place, room_of_a_place(places), (stood, *small)))
    if places <= _FEW:
        stood, small[at] = place.stood, place.shown
    gone = np.empty((0, 0, 3), dtype=np.uint8)
    pictures = tuple(picture if i == at else gone for i, picture in enumerate(small))
    return replace(place, stood=stood, pictures=pictures, drawn=drawn)


def _reduced(picture: Picture, long_side: int) -> Picture:
    if max(picture.shape[:2]) <= long_side:
        return picture
    return resize_srgb(picture, fit_size(picture.shape[:2], (long_side, long_side)))
