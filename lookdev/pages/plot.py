"""Plots in vector lines and real text on a :class:`~lookdev.pages.page.Page`.

>>> import numpy as np
>>> from lookdev.pages.document import Document
>>> from lookdev.pages.plot import Axis, Plot
>>> doc = Document("Proof")
>>> page = doc.new_page("Low Ferry", "Proof")
>>> x, y = page.content.left, page.content.top
>>> stops_axis, signal_axis = Axis(-8, 4, "stops from mid grey"), Axis(0, 1, "signal")
>>> plot = Plot(page, x, y, 240, 200, stops_axis, signal_axis, title="The curve")
>>> plot.grid()
>>> stops = np.linspace(-8, 4, 100)
>>> plot.curve(stops, 1 / (1 + np.exp2(-stops)), label="look")    # the label stands at the end of the curve
>>> plot.points([0.0], [0.5], kind="diamond", labels=["mid grey"])
>>> doc.faults()
[]

What lies outside the axes is left out (points) or cut at the frame (curves). Labels look for a free place;
one that finds none is numbered and spelled out under the plot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.errors import SheetError
from lookdev.pages import fonts
from lookdev.pages.page import Page
from lookdev.pages.setting import INK, LABEL, SMALL_BOLD, Box, Colour, Style, text_height
from lookdev.text.numbers import MINUS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Axis:
    """An axis: range, words (with the unit), ticks (chosen if not given), and how a tick is written.

    ``low`` may be greater than ``high``: the axis then runs the other way.
    """

    low: float
    high: float
    label: str = ""
    ticks: tuple[float, ...] | None = None
    number: str = "g"

    def marks(self, most: int) -> list[float]:
        """Where the ticks stand, at most about ``most``."""
        return list(self.ticks) if self.ticks is not None else round_ticks(self.low, self.high, most)

    def write(self, value: float) -> str:
        """A tick in words, with a true minus sign."""
        return format(value + 0.0, self.number).replace("-", MINUS)


def round_ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round numbers (steps of 1, 2, 5 times a power of ten) from ``low`` to ``high``.

    >>> round_ticks(0, 1, 6)
    [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    """
    if low > high:
        return round_ticks(high, low, most)[::-1]
    if not np.isfinite([low, high]).all() or low == high:
        raise SheetError("an axis needs two different finite ends", found=f"{low}, {high}")
    rough = (high - low) / max(most - 1, 1)
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(float(m * power) for m in (1, 2, 5, 10) if m * power >= rough * (1 - 1e-9))
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    digits = max(0, int(-np.floor(np.log10(step))) + 1)
    return [round(float(n * step), digits) + 0.0 for n in np.arange(first, last + 1)]


@dataclass
class Plot:
    """Axes with ticks in a rectangle of the page; data go in by :meth:`curve`, :meth:`points`, :meth:`label`.

    Parameters
    ----------
    page : where to draw.
    x, top, width, height : the whole plot with its words, points from the top left of the page.
    across, up : the two axes.
    title : words over the plot.
    equal : one unit is as long across as up (the plot shrinks in one direction).
    """

    page: Page
    x: float
    top: float
    width: float
    height: float
    across: Axis
    up: Axis
    title: str = ""
    equal: bool = False
    frame: Box = field(init=False)
    bottom: float = field(init=False)
    _taken: list[Box] = field(default_factory=list, init=False)
    _notes: list[str] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        top = self.top
        if self.title:
            top = self.page.text(self.x, top, self.title, SMALL_BOLD, width=self.width) + 2
        tick_words = [self.up.write(v) for v in self.up.marks(self._most(self.height, 26))]
        left = self.x + max((LABEL.width(w) for w in tick_words), default=0.0) + 7
        label_height = text_height(self.up.label, LABEL, self.width) if self.up.label else 0.0
        upper = top + label_height + 4
        lower_words = (
            6
            + LABEL.line
            + (
                text_height(self.across.label, LABEL, self.width - (left - self.x)) + 1
                if self.across.label
                else 0
            )
        )
        frame = Box(left, upper, self.x + self.width - 6, self.top + self.height - lower_words)
        if frame.width < 20 or frame.height < 20:
            raise SheetError("a plot needs more room", found=f"{self.width:g} x {self.height:g} points")
        if self.equal:
            spans = abs(self.across.high - self.across.low), abs(self.up.high - self.up.low)
            unit = min(frame.width / spans[0], frame.height / spans[1])
            frame = Box(left, upper, left + unit * spans[0], upper + unit * spans[1])
        self.frame = frame
        if self.up.label:
            self.page.paragraph(self.x, top, self.width, self.up.label, LABEL)
        self.draw_frame()
        self.bottom = self._draw_ticks()

    @staticmethod
    def _most(length: float, step: float) -> int:
        return max(2, int(length / step))

    def draw_frame(self) -> None:
        f = self.frame
        corners = [(f.left, f.top), (f.right, f.top), (f.right, f.bottom), (f.left, f.bottom)]
        self.page.polygon(corners, outline=INK, width=0.5)

    def _draw_ticks(self) -> float:
        f, page = self.frame, self.page
        widest = max((LABEL.width(self.across.write(v)) for v in self.across.marks(7)), default=10.0)
        last_right = -np.inf
        for value in sorted(self.across.marks(self._most(f.width, widest + 14)), key=self.x_of):
            x = self.x_of(value)
            word = self.across.write(value)
            half = LABEL.width(word) / 2
            page.line(x, f.bottom, x, f.bottom + 3, colour=INK, width=0.5)
            if x - half > last_right + 3:
                page.text(x - half, f.bottom + 4, word, LABEL)
                last_right = x + half
        last_bottom = np.inf
        for value in sorted(self.up.marks(self._most(f.height, 26)), key=lambda v: -self.y_of(v)):
            y = self.y_of(value)
            page.line(f.left - 3, y, f.left, y, colour=INK, width=0.5)
            if y + LABEL.line / 2 <= last_bottom:
                page.text(
                    self.x,
                    y - LABEL.line / 2,
                    self.up.write(value),
                    LABEL,
                    width=f.left - 5 - self.x,
                    align="right",
                )
                last_bottom = y - LABEL.line / 2
        bottom = f.bottom + 4 + LABEL.line
        if self.across.label:
            bottom = page.paragraph(
                f.left, bottom + 1, self.x + self.width - f.left, self.across.label, LABEL
            )
        return bottom

    def x_of(self, value: float) -> float:
        """Page x of a value on the axis across."""
        a = self.across
        return self.frame.left + (float(value) - a.low) / (a.high - a.low) * self.frame.width

    def y_of(self, value: float) -> float:
        """Page y of a value on the axis up."""
        a = self.up
        return self.frame.bottom - (float(value) - a.low) / (a.high - a.low) * self.frame.height

    def contains(self, x: float, y: float) -> bool:
        """Whether a data point lies inside the frame."""
        f = self.frame
        px, py = self.x_of(x), self.y_of(y)
        return bool(f.left - 0.01 <= px <= f.right + 0.01 and f.top - 0.01 <= py <= f.bottom + 0.01)

    def grid(self, colour: Colour = (100, 100, 100)) -> None:
        """Hairlines at the ticks."""
        f = self.frame
        for value in self.across.marks(self._most(f.width, 30)):
            self.page.line(self.x_of(value), f.top, self.x_of(value), f.bottom, colour=colour, width=0.25)
        for value in self.up.marks(self._most(f.height, 26)):
            self.page.line(f.left, self.y_of(value), f.right, self.y_of(value), colour=colour, width=0.25)

    def curve(
        self,
        xs: ArrayLike,
        ys: ArrayLike,
        *,
        colour: Colour = INK,
        width: float = 1.0,
        dash: Sequence[float] | None = None,
        label: str = "",
    ) -> None:
        """A curve through data (n,), cut at the frame, broken at what is not finite; ``label`` at its end."""
        data = np.stack(
            [np.asarray(xs, dtype=np.float64).ravel(), np.asarray(ys, dtype=np.float64).ravel()], axis=1
        )
        pieces = self._clipped(data)
        for piece in pieces:
            self.page.polyline(piece, colour=colour, width=width, dash=dash)
            self._taken += _beads(piece)
        if label and pieces:
            line = pieces[-1]
            ends = [line[round(share * (len(line) - 1))] for share in (1.0, 0.9, 0.8, 0.65, 0.5, 0.3)]
            self.place_words(ends, label, replace(LABEL, colour=colour), 4.0)

    def _clipped(self, data: Array) -> list[list[tuple[float, float]]]:
        pieces: list[list[tuple[float, float]]] = []
        last: tuple[float, float] | None = None
        points = [(self.x_of(x), self.y_of(y)) if np.isfinite([x, y]).all() else None for x, y in data]
        for start, end in pairwise(points):
            part = clip_segment(start, end, self.frame) if start is not None and end is not None else None
            if part is None:
                last = None
                continue
            if last is None or part[0] != last:
                pieces.append([part[0]])
            pieces[-1].append(part[1])
            last = part[1]
        return pieces

    def points(
        self,
        xs: ArrayLike,
        ys: ArrayLike,
        *,
        kind: str = "circle",
        size: float = 5.0,
        fill: Colour | None = INK,
        outline: Colour | None = None,
        labels: Sequence[str] | None = None,
    ) -> None:
        """Marks at data (n,), with words beside them; those outside the frame are left out."""
        flat_x, flat_y = np.asarray(xs, dtype=np.float64).ravel(), np.asarray(ys, dtype=np.float64).ravel()
        inside = [i for i in range(flat_x.size) if self.contains(flat_x[i], flat_y[i])]
        places = [(self.x_of(flat_x[i]), self.y_of(flat_y[i])) for i in inside]
        for x, y in places:
            self.page.marker(x, y, kind, size, fill=fill, outline=outline)
            self._taken.append(Box(x - size / 2, y - size / 2, x + size / 2, y + size / 2, "mark"))
        if labels is not None:
            for index, place in zip(inside, places, strict=True):
                self.place_words([place], labels[index], LABEL, size / 2 + 2)

    def label(self, x: float, y: float, text: str, colour: Colour = INK) -> None:
        """Words beside a data point, where there is room."""
        if self.contains(x, y):
            self.place_words([(self.x_of(x), self.y_of(y))], text, replace(LABEL, colour=colour), 3.0)

    def place_words(
        self, places: Sequence[tuple[float, float]], text: str, style: Style, gap: float, note: bool = True
    ) -> None:
        """Words at the first of ``places`` with room; else a number there and the words under the plot."""
        text = fonts.clean(text)
        box = self._first_free(places, text, style, gap) if text else None
        if box is None and text and note:
            number = str(len(self._notes) + 1)
            self._notes.append(text)
            box = self._first_free(places, number, style, gap)
            words = f"{number}: {text}" if box is not None else text
            room = self.x + self.width - self.frame.left
            self.bottom = self.page.paragraph(self.frame.left, self.bottom + 1, room, words, LABEL)
            text = number
        if box is not None:
            self.page.text(box.left, box.top, text, style)
            self._taken.append(Box(box.left - 2, box.top, box.right + 2, box.bottom))

    def _first_free(
        self, places: Sequence[tuple[float, float]], text: str, style: Style, gap: float
    ) -> Box | None:
        boxes = (self._free_place(place, style.width(text), style.line, gap) for place in places)
        return next((box for box in boxes if box is not None), None)

    def _free_place(self, at: tuple[float, float], width: float, height: float, gap: float) -> Box | None:
        x, y = at
        f = self.frame
        for reach in (gap, gap + 5, gap + 11, gap + 18):
            for left, top in (
                (x + reach, y - height / 2),
                (x - reach - width, y - height / 2),
                (x - width / 2, y - reach - height + 1),
                (x - width / 2, y + reach - 1),
                (x + reach * 0.7, y - reach * 0.7 - height),
                (x - reach * 0.7 - width, y - reach * 0.7 - height),
                (x + reach * 0.7, y + reach * 0.7),
                (x - reach * 0.7 - width, y + reach * 0.7),
            ):
                box = Box(left, top, left + width, top + height)
                inside = (
                    f.left + 1 < left
                    and box.right < f.right - 1
                    and f.top + 1 < top
                    and box.bottom < f.bottom - 1
                )
                if inside and not any(box.overlaps(t) for t in (*self._taken, *self.page.texts)):
                    return box
        return None


def _beads(points: list[tuple[float, float]], step: float = 3.0) -> list[Box]:
    """Small boxes along a line, for labels to keep clear of."""
    beads = []
    for (x_1, y_1), (x_2, y_2) in pairwise(points):
        for t in np.linspace(0, 1, max(2, int(np.hypot(x_2 - x_1, y_2 - y_1) / step))):
            x, y = x_1 + t * (x_2 - x_1), y_1 + t * (y_2 - y_1)
            beads.append(Box(x - 0.5, y - 0.5, x + 0.5, y + 0.5, "line"))
    return beads


def clip_segment(
    start: tuple[float, float], end: tuple[float, float], box: Box
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The part of a segment inside ``box`` (Liang and Barsky 1984), or None."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    first, last = 0.0, 1.0
    for p, q in (
        (-dx, start[0] - box.left),
        (dx, box.right - start[0]),
        (-dy, start[1] - box.top),
        (dy, box.bottom - start[1]),
    ):
        if p == 0:
            if q < 0:
                return None
        elif p < 0:
            first = max(first, q / p)
        else:
            last = min(last, q / p)
    if first > last:
        return None
    ends = [(start[0] + t * dx, start[1] + t * dy) for t in (first, last)]
    return (start if first == 0 else ends[0]), (end if last == 1 else ends[1])
