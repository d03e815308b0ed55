"""A frame before and after it was graded by hand: laid onto each other, and what became of its colours."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import SRGB, Encoding
from lookdev.errors import LookdevError
from lookdev.looks.learn.colours import Colours, differences, graded, lab
from lookdev.looks.learn.register import SAME, Registration, laid, overlap, register
from lookdev.looks.learn.rest import with_rest
from lookdev.looks.model import Look
from lookdev.looks.pipeline import Pipeline
from lookdev.looks.stages.skin import skin_weight

Array = NDArray[np.float64]

PLAINLY_OFF = 5.0
"""CIEDE2000 from which a place counts as changed by what no point operation can do."""

EDGE_PX = 960
"""Longer edge at which pairs are read: thousands of colours, and noise averaged out."""

_LEVELS = 32  # a side: colours closer than eight codes are one
_LEAST_PIXELS = 4  # of a colour that counts
_LEAST_COLOURS = 24
_MOST_COLOURS = 1100  # a frame's: more cost time and say nothing new
_MOST_PIXELS = 150_000
_FLATTEST, _FLAT_ENOUGH = 0.4, 10.0  # share of the picture, and codes within 3 x 3 pixels, that count as even
_BLACK_L = 4.0  # CIELAB L* that 99% of a black frame lie under
_UNCHANGED = 0.25  # mean CIEDE2000 of an identical pair, saved twice
_GREY_CHROMA = 8.0  # CIELAB C* under which people call a surface grey, common practice
_COUNTS_DOUBLE = 2.0  # skin and greys: what people look at, and see first


@dataclass(frozen=True, eq=False)
class Picture:
    """A still as learning takes it: ``signal`` (h, w, 3) in ``encoding``; ``name`` for errors."""

    signal: NDArray[Any]
    encoding: Encoding
    name: str

    @cached_property
    def shown(self) -> Array:
        """sRGB code values (h, w, 3) that show it."""
        if self.encoding == SRGB:
            return np.asarray(self.signal, dtype=np.float64)
        return np.asarray(Pipeline(Look(title="as it stood"), self.encoding, SRGB)(self.signal))

    @cached_property
    def grey(self) -> NDArray[np.uint8]:
        """8-bit grey (h, w), for registration."""
        codes = self.shown @ np.array([0.2126, 0.7152, 0.0722])  # BT.709-6 item 3.2
        return np.asarray(np.clip(codes * 255 + 0.5, 0, 255), dtype=np.uint8)

    @cached_property
    def displayed(self) -> Picture:
        """The same with output-referred code values: as it is, or shown in sRGB."""
        return self if self.encoding.state == "output" else Picture(self.shown, SRGB, self.name)

    def check(self) -> None:
        """Refuse a picture from which nothing can be learned.

        Raises
        ------
        LookdevError : it is black, or has one colour.
        """
        lightness = lab(self.shown[::4, ::4].reshape(-1, 3), SRGB)[:, 0]
        if np.percentile(lightness, 99) < _BLACK_L:
            raise LookdevError("is black: nothing can be learned from it", file=self.name)
        if np.ptp(np.percentile(lightness, (1, 99))) < 1.0 and self.grey.std() < 1.5:
            raise LookdevError("is one even colour: nothing can be learned from it", file=self.name)


@dataclass(frozen=True, eq=False)
class Pair:
    """A frame and its grade, in the same pixels.

    Attributes
    ----------
    before, after : signal (h, w, 3) in ``source`` and ``target``.
    inside : (h, w), where both frames have a picture.
    registration : how the two lay on each other.
    """

    name: str
    before: NDArray[Any]
    after: NDArray[Any]
    shown: NDArray[Any]
    inside: NDArray[np.bool_]
    source: Encoding
    target: Encoding
    registration: Registration
    _wholes: dict[int, Colours] = field(default_factory=dict, repr=False)

    def whole(self, every: int = 1) -> Colours:
        """Every pixel inside, or so manieth one across and down, each counting alike."""
        grid = (slice(every // 2, None, every),) * 2
        inside = self.inside[grid]
        before, after = self.before[grid][inside], self.after[grid][inside]
        weight = np.full(len(before), 1.0 / max(len(before), 1))
        return Colours(self.source, self.target, np.float64(before), np.float64(after), weight)  # type: ignore[arg-type]

    @cached_property
    def colours(self) -> Colours:
        """Its colours, one for all pixels that were alike, from even places; see :func:`_gathered`."""
        usable = self.inside & _even(self.shown) & _even(self.after)
        if usable.sum() < _LEAST_COLOURS * _LEAST_PIXELS:
            usable = self.inside
        stride = int(usable.sum() // _MOST_PIXELS) + 1
        before, after, shown = (
            np.asarray(p[usable][::stride], np.float64) for p in (self.before, self.after, self.shown)
        )
        return _gathered(before, after, shown, self.source, self.target, self.name)

    def differences(self, look: Look, offsets: Array | None = None, every: int = 3) -> Array:
        """CIEDE2000 (h, w) of the look's answer, with its rest if given, to the grade; NaN outside.

        Of every so manieth pixel across and down.
        """
        if every not in self._wholes:
            self._wholes[every] = self.whole(every)
        whole = self._wholes[every]
        signal = np.clip(graded(look, whole), 0.0, 1.0)
        if offsets is not None:
            signal = np.clip(with_rest(signal, offsets), 0.0, 1.0)
        inside = self.inside[every // 2 :: every, every // 2 :: every]
        out = np.full(inside.shape, np.nan)
        out[inside] = ciede2000(lab(signal, self.target), whole.wanted)
        return out


def make_pair(before: Picture, after: Picture) -> Pair:
    """The two laid onto each other.

    Raises
    ------
    LookdevError : one is black or even, they are of different frames, or nothing was changed.
    """
    before.check()
    after.check()
    found = register(before.grey, after.grey)
    if found.likeness < SAME:
        raise LookdevError(
            f"is no version of {before.name}: their contours do not meet",
            file=after.name,
            found=f"likeness {found.likeness:.2f}",
            wanted=f"at least {SAME}: the same frame, before and after",
        )
    graded_picture = after.displayed
    size = (before.signal.shape[0], before.signal.shape[1])
    of = (after.signal.shape[0], after.signal.shape[1])
    moved = graded_picture.signal
    inside = np.ones(size, np.bool_)
    if found.moved:
        moved = laid(np.asarray(moved, np.float32), found.matrix, size)
        inside = overlap(found.matrix, size, of)
    source, target = before.encoding, graded_picture.encoding
    pair = Pair(before.name, before.signal, moved, before.shown, inside, source, target, found)
    _refuse_unchanged(pair, after.name)
    return pair


def _refuse_unchanged(pair: Pair, name: str) -> None:
    """By its colours, of many pixels each: noise of saving it again is no change."""
    colours = pair.colours
    untouched = graded(Look(title="as it stood"), colours)
    if float(colours.weight @ differences(untouched, colours)) < _UNCHANGED:
        raise LookdevError(
            f"shows the same as {pair.name}: there is nothing to learn", file=name, wanted="a graded version"
        )


def _even(signal: NDArray[Any]) -> NDArray[np.bool_]:
    """(h, w): places without an edge, whose colour does not hang on a pixel's place; at least two fifths."""
    import cv2

    codes = np.asarray(np.clip(signal, 0, 1) * 255, dtype=np.float32)
    kernel = np.ones((3, 3), np.uint8)
    spread = (cv2.dilate(codes, kernel) - cv2.erode(codes, kernel)).max(axis=2)
    return np.asarray(spread <= max(_FLAT_ENOUGH, float(np.quantile(spread, _FLATTEST))))


def _gathered(
    before: Array, after: Array, shown: Array, source: Encoding, target: Encoding, name: str
) -> Colours:
    """Colours by cells of the shown code values, retouched and noisy pixels left out.

    Of each cell the pixels count whose result lies near the cell's median; a cell counts by the root of its
    pixels, so that small things are seen beside walls, and twice where it is skin or grey.
    """
    for levels in (_LEVELS, 24, 16):
        cell = np.minimum((np.clip(shown, 0, 1) * levels).astype(np.int64), levels - 1)
        key = cell @ np.array([levels * levels, levels, 1])
        _, place, count = np.unique(key, return_inverse=True, return_counts=True)
        if (count >= _LEAST_PIXELS).sum() <= _MOST_COLOURS:
            break
    near = np.ones(len(before), np.bool_)
    for channel in range(3):
        middle = _medians(after[:, channel], place, count)
        off = np.abs(after[:, channel] - middle[place])
        spread = _medians(off, place, count)
        near &= off <= 3 * spread[place] + 3 / 255
    place, before, after = place[near], before[near], after[near]
    count = np.bincount(place, minlength=len(count))
    kept = count >= _LEAST_PIXELS
    if kept.sum() < _LEAST_COLOURS:
        raise LookdevError(
            "has too few colours to learn from",
            file=name,
            found=int(kept.sum()),
            wanted=f"at least {_LEAST_COLOURS}",
        )
    one, two = (
        np.stack([np.bincount(place, p[:, c], len(count)) for c in range(3)], axis=1)[kept]
        / count[kept, None]
        for p in (before, after)
    )
    weight = np.sqrt(count[kept].astype(np.float64)) * _importance(one, source, lab(two, target))
    return Colours(source, target, one, two, weight / weight.sum())


def _medians(values: Array, place: NDArray[np.intp], count: NDArray[np.intp]) -> Array:
    """The middle value of each cell, to 1e-9: one sort, the cells far apart in it."""
    apart = 2.0 * float(np.ptp(values)) + 1.0
    middle = np.concatenate([[0], np.cumsum(count)[:-1]]) + count // 2
    return np.asarray(np.sort(place * apart + values)[middle] - np.arange(len(count)) * apart)


def _importance(before: Array, source: Encoding, after: Array) -> Array:
    """Up to twice for skin (``stages.skin``, of the frame as it stood), twice for what became grey."""
    skin = skin_weight(Pipeline(Look(title="as it stood"), source, SRGB).scene(before))
    grey = np.hypot(after[:, 1], after[:, 2]) < _GREY_CHROMA
    return np.asarray(1.0 + (_COUNTS_DOUBLE - 1.0) * np.maximum(skin, grey))


def left_map(off: Array) -> tuple[NDArray[np.uint8], float]:
    """What no point operation does, as a grey picture (h, w), and the share of the frame that it takes.

    ``off`` : CIEDE2000 (h, w) that look and rest together leave; NaN outside. Single pixels are noise: the
    median of 3 x 3 counts. White is four times :data:`PLAINLY_OFF`.
    """
    import cv2

    known = np.nan_to_num(off, nan=0.0).astype(np.float32)
    calm = cv2.medianBlur(known, 3)
    share = float((calm[np.isfinite(off)] > PLAINLY_OFF).mean())
    return np.asarray(np.clip(calm / (4 * PLAINLY_OFF) * 255, 0, 255), np.uint8), share
