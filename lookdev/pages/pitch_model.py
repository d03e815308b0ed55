"""What a pitch shows, as data: places, looks, pictures in the film's shape, and the codes of the choices."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lookdev.pages.page import Page
from lookdev.paint.faces import Faces

Picture = NDArray[np.uint8]

STOOD = "As it stood"
NOT_CHOSEN = "not chosen"


@dataclass(frozen=True)
class PitchLook:
    """A look as it is pitched. ``fingerprint``: of the parameters that act, twelve hexadecimal digits."""

    title: str
    note: str
    code: str
    fingerprint: str


@dataclass(frozen=True, eq=False)
class ScreenPicture:
    """A picture for a browser: ``size`` (width, height) of the whole one in pixels, WebP, and JPEG for a
    browser that does not read that."""

    size: tuple[int, int]
    webp: bytes
    jpeg: bytes


@dataclass(frozen=True, eq=False)
class Drawn:
    """What a place's large pictures were for: its page of the PDF; the frame on it, a JPEG; the still as it
    stood, and in each look, for the browser."""

    page: Page
    frame: bytes
    pictures: tuple[ScreenPicture, ...]


@dataclass(frozen=True, eq=False)
class PitchPlace:
    """One place.

    Attributes
    ----------
    name, code : the location as the log has it; the words by which a choice names it.
    stood : uint8 sRGB (h, w, 3), the still as it came, in the film's shape.
    pictures : the same in each look of the pitch.
    proposed : which look is proposed, by its place in the pitch.
    light, words : a plain sentence on the light; the cinematographer's own.
    chosen : whether the director chose what is proposed.
    panorama : whether the pictures go all round.
    still : file name of the still, for the appendix.
    why : how the still was chosen.
    drawn : its page and its pictures for the browser, where they are made. Then ``stood`` and the proposed
        picture are as large as the other pages need them, and the rest are empty.
    """

    name: str
    code: str
    stood: Picture
    pictures: tuple[Picture, ...]
    proposed: int = 0
    light: str = ""
    words: str = ""
    chosen: bool = False
    panorama: bool = False
    still: str = ""
    why: str = ""
    drawn: Drawn | None = None

    @property
    def shown(self) -> Picture:
        """In the look that is proposed."""
        return self.pictures[self.proposed]


@dataclass(frozen=True, eq=False)
class Pitch:
    """The whole pitch. ``order``: the places in the story's order, by their place in ``places``."""

    title: str
    date: str
    looks: tuple[PitchLook, ...]
    places: tuple[PitchPlace, ...]
    order: tuple[int, ...] = ()
    surround: Literal["dark", "grey"] = "dark"
    numbers: tuple[str, ...] = ()
    faces: tuple[tuple[str, tuple[Faces, ...]], ...] = ()

    def in_order(self) -> list[PitchPlace]:
        """The places as the story runs; those without a turn come last."""
        rest = [i for i in range(len(self.places)) if i not in self.order]
        return [self.places[i] for i in (*self.order, *rest)]


def codes(names: Iterable[str]) -> list[str]:
    """A code of words for each name, none twice: capitals, what is before the first comma where that will do.

    A code depends on the names alone, not on what else was made from the scout.

    >>> codes(["Loading dock 3, Østkai", "Net loft, Østkai", "Net loft, Vestkai"])
    ['LOADING DOCK 3', 'NET LOFT ØSTKAI', 'NET LOFT VESTKAI']
    """
    whole = list(names)
    short = [_capitals(name.split(",")[0]) or _capitals(name) for name in whole]
    out: list[str] = []
    for name, code in zip(whole, short, strict=True):
        wanted = code if short.count(code) == 1 else _capitals(name)
        wanted, base, number = wanted or "UNNAMED", wanted or "UNNAMED", 2
        while wanted in out:
            wanted, number = f"{base} {number}", number + 1
        out.append(wanted)
    return out


def folded(text: str) -> str:
    """Names for comparing: letters and digits alone, whatever the case, accents and spaces.

    >>> folded("Løading-dock 3") == folded("LØADING DOCK 3")
    True
    """
    return "".join(c for c in unicodedata.normalize("NFKD", text).casefold() if c.isalnum())


def _capitals(text: str) -> str:
    normal = unicodedata.normalize("NFC", text).upper()
    words = re.sub(r"[^\w'’&+-]+", " ", normal, flags=re.UNICODE).replace("_", " ").split()
    return " ".join(words)[:60].strip()


def to_shape(size: tuple[int, int], ratio: float, shift: float = 0.0) -> tuple[int, int, int, int]:
    """The crop ``left, top, width, height`` of ``size`` (width, height) in pixels that has ``ratio``.

    ``shift`` -1 to 1 moves it over what is left: up or left at -1, down or right at 1.

    >>> to_shape((6000, 4000), 2.4)
    (0, 750, 6000, 2500)
    """
    width, height = size
    if width / height > ratio:
        across = max(1, round(height * ratio))
        return round((width - across) * (0.5 + shift / 2)), 0, across, height
    down = max(1, round(width / ratio))
    return 0, round((height - down) * (0.5 + shift / 2)), width, down


def hero_score(picture: Picture) -> float:
    """How well a still stands for its place: sharp, and neither drowned nor burnt. Higher is better.

    ``picture``: small, uint8 sRGB (h, w, 3). Sharpness is the share of the light's variation that lies
    between neighbouring pixels, held where it is enough; exposure counts how much of the frame is at neither
    end.
    """
    sums = picture.astype(np.int16).sum(axis=2, dtype=np.int16)  # of three codes: few values, to be counted
    steps = [np.abs(np.diff(sums, axis=axis)) for axis in (0, 1)]  # none in a line of one pixel
    counts = np.bincount(sums.reshape(-1), minlength=_MOST + 1)
    light = np.arange(_MOST + 1) / _MOST
    share = counts / counts.sum()
    spread = float(np.sqrt(share @ (light - share @ light) ** 2))
    rise = sum(_at_share(np.bincount(s.reshape(-1)), 0.98) for s in steps if s.size)
    held = float(share[(light > 0.03) & (light < 0.985)].sum())
    middle = 1.0 - abs(_at_share(counts, 0.5) - 0.4)
    return min(rise / (2 * spread + 0.02), 1.0) * held * middle


_MOST = 3 * 255


def _at_share(counts: NDArray[np.intp], share: float) -> float:
    """The quantile, as np.quantile has it, of sums of three codes, each there ``counts`` times, as light."""
    upto = np.cumsum(counts)
    place = share * (int(upto[-1]) - 1)
    low, high = (float(np.searchsorted(upto, int(at), side="right")) for at in (place, math.ceil(place)))
    return (low + (high - low) * (place - int(place))) / _MOST


def framed(picture: Picture, ratio: float, shift: float = 0.0, *, crop: bool = True) -> Picture:
    """A picture (h, w, 3) cropped to a frame, or whole with the frame drawn on it."""
    left, top, width, height = to_shape((picture.shape[1], picture.shape[0]), ratio, shift)
    inside = np.s_[top : top + height, left : left + width]
    if crop:
        return np.ascontiguousarray(picture[inside])
    out = picture // 3
    edge = max(1, picture.shape[1] // 700)
    around = np.s_[max(0, top - edge) : top + height + edge, max(0, left - edge) : left + width + edge]
    out[around] = 235
    out[inside] = picture[inside]
    return out


def upright(size: tuple[int, int]) -> bool:
    """Whether a still of ``size`` (width, height) is wide enough to fill a film frame without losing most."""
    return size[0] >= size[1]


def alternates(count: int, proposed: int, most: int = 3) -> list[int]:
    """The looks beside the proposed one, in the pitch's order, at most ``most``."""
    return [i for i in range(count) if i != proposed][:most]


def strip_of(colours: Sequence[tuple[float, Sequence[float]]]) -> list[tuple[float, Sequence[float]]]:
    """A palette's (share, sRGB) with each share large enough to be seen, summing to 1."""
    seen = [(max(share, 0.04), colour) for share, colour in colours]
    total = sum(share for share, _ in seen)
    return [(share / total, colour) for share, colour in seen]
