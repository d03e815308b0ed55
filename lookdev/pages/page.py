"""One page: text that is measured, tables, pictures placed pixel for pixel, swatches, lines, marks.

Made by :meth:`lookdev.pages.document.Document.new_page`, whose module shows a whole sheet. Coordinates are
points from the top left corner, y downwards. Text never runs out of its place: ``text(..., width=w)`` shrinks
to ``min_size`` and then wraps (or, with ``overflow="ellipsis"``, ends in "…"); ``paragraph`` wraps; ``table``
wraps in each cell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import SheetError
from lookdev.pages import fonts
from lookdev.pages.raster import draw_jpeg, draw_pixels
from lookdev.pages.setting import (
    BODY,
    HAIRLINE,
    INK,
    LABEL,
    MIN_SIZE,
    SMALL,
    Align,
    Box,
    Colour,
    Column,
    Style,
    TableEnd,
    fitted,
    lines_of,
    table_row_height,
    unit_rgb,
)

Overflow = Literal["wrap", "ellipsis"]


@dataclass
class Page:
    """One page. ``pixel`` is the side of one pixel of its PNG in points, ``surround`` its ground in sRGB."""

    width: float
    height: float
    content: Box
    pixel: float
    surround: Colour
    texts: list[Box] = field(default_factory=list)
    pictures: list[Box] = field(default_factory=list)
    foot_left: str = ""
    has_missing_characters: bool = False
    _draw: list[Callable[[Any], None]] = field(default_factory=list)

    def room(self, y: float) -> float:
        """Points between ``y`` and the bottom of the content."""
        return self.content.bottom - y

    # text ---------------------------------------------------------------------------------------------------

    def text(
        self,
        x: float,
        top: float,
        text: str,
        style: Style = BODY,
        *,
        width: float | None = None,
        align: Align = "left",
        lines: int = 1,
        min_size: float = MIN_SIZE,
        overflow: Overflow = "wrap",
        max_lines: int | None = None,
    ) -> float:
        """Text with its top at ``top``; returns the bottom. Without ``width``, one line as wide as it is.

        With ``width`` the text is made to fit: smaller, down to ``min_size``, until it takes at most
        ``lines`` lines; then wrapped into more (past ``max_lines`` it ends in "…"), or, with
        ``overflow="ellipsis"``, ended by "…" in the last of ``lines``. ``align`` is within ``x`` to
        ``x + width``, or about ``x`` without a width.
        """
        if width is not None:
            style = fitted(text, style, width, min_size, lines)
            limit = lines if overflow == "ellipsis" else max_lines
            return self.paragraph(x, top, width, text, style, align=align, max_lines=limit)
        self._line(x, top, fonts.clean(text), style, width or 0.0, align)
        return top + style.line

    def paragraph(
        self,
        x: float,
        top: float,
        width: float,
        text: str,
        style: Style = BODY,
        *,
        align: Align = "left",
        max_lines: int | None = None,
    ) -> float:
        """Text wrapped to ``width``, line feeds kept. Returns the bottom. Past ``max_lines``: "…"."""
        for line in lines_of(text, style, width, max_lines):
            self._line(x, top, line, style, width, align)
            top += style.line
        return top

    def _line(self, x: float, top: float, text: str, style: Style, width: float, align: Align) -> None:
        if not text.strip():
            return
        set_width = style.width(text)
        x += {"left": 0.0, "centre": (width - set_width) / 2, "right": width - set_width}[align]
        baseline = (
            top + (style.line - style.size * (fonts.ASCENT + fonts.DESCENT)) / 2 + style.size * fonts.ASCENT
        )
        self.texts.append(
            Box(
                x,
                baseline - style.size * fonts.ASCENT,
                x + set_width,
                baseline + style.size * fonts.DESCENT,
                text,
            )
        )
        self._set(x, baseline, text, style)
        if fonts.missing_characters(text, style.weight):
            self.has_missing_characters = True

    def _set(self, x: float, baseline: float, text: str, style: Style) -> None:
        pieces, y = fonts.runs(text, style.weight), self.height - baseline

        def draw(canvas: Any) -> None:
            line = canvas.beginText(x, y)
            line.setFillColorRGB(*unit_rgb(style.colour))
            for font_name, piece in pieces:
                line.setFont(font_name, style.size)
                line.textOut(piece)
            canvas.drawText(line)

        self._draw.append(draw)

    def table(
        self,
        x: float,
        top: float,
        columns: Sequence[Column],
        rows: Sequence[Sequence[str | Colour]],
        style: Style = SMALL,
        *,
        heading_style: Style = LABEL,
        padding: float = 3.0,
        gap: float = 8.0,
        max_lines: int = 12,
        bottom: float | None = None,
    ) -> TableEnd:
        """A table with hairlines, cells wrapped; a colour in place of text is a small swatch.

        Stops before ``bottom`` (the foot of the content unless given) and says how many rows it drew.
        """
        limit = self.content.bottom if bottom is None else bottom
        edge = x + sum(c.width for c in columns) + gap * (len(columns) - 1)
        y = top
        if any(c.heading for c in columns):
            y = self._table_row(x, y, columns, [c.heading for c in columns], heading_style, padding, gap, 4)
            self.line(x, y, edge, y)
        drawn = 0
        for row in rows:
            if y + table_row_height(columns, row, style, padding, max_lines) > limit + 0.01:
                break
            y = self._table_row(x, y, columns, row, style, padding, gap, max_lines)
            self.line(x, y, edge, y, width=0.25)
            drawn += 1
        return TableEnd(y, drawn)

    def _table_row(
        self,
        x: float,
        top: float,
        columns: Sequence[Column],
        row: Sequence[str | Colour],
        style: Style,
        padding: float,
        gap: float,
        max_lines: int,
    ) -> float:
        for column, cell in zip(columns, row, strict=True):
            if isinstance(cell, str):
                self.paragraph(
                    x, top + padding, column.width, cell, style, align=column.align, max_lines=max_lines
                )
            else:
                self.swatch(x, top + padding, min(column.width, style.line * 2), style.line, cell)
            x += column.width + gap
        return top + table_row_height(columns, row, style, padding, max_lines)

    # pictures and colours -----------------------------------------------------------------------------------

    def snap(self, value: float) -> float:
        """The nearest place on the pixel grid of the PNG, in points."""
        pixel = self.pixel
        return round(value / pixel) * pixel

    def image(
        self,
        x: float,
        top: float,
        pixels: NDArray[np.uint8],
        *,
        width: float | None = None,
        height: float | None = None,
    ) -> Box:
        """Place a uint8 sRGB picture (h, w, 3), lossless; returns its box.

        Without ``width`` and ``height`` (points) one sample is one pixel of the PNG, and the PNG shows the
        very same values. The top left corner goes to the nearest pixel.
        """
        if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size == 0:
            raise SheetError(
                "a picture on a sheet is uint8 (height, width, 3)", found=f"{pixels.dtype} {pixels.shape}"
            )
        box = self._place_pixels(x, top, pixels, width, height)
        self.pictures.append(box)
        return box

    def photograph(
        self, x: float, top: float, jpeg: bytes, size: tuple[int, int], width: float, height: float
    ) -> Box:
        """Place a JPEG of ``size`` (width, height) in pixels as it is, in a box in points."""
        box = Box(x, top, x + width, top + height, "picture")

        def draw(canvas: Any) -> None:
            draw_jpeg(canvas, jpeg, size, x, self.height - box.bottom, width, height)

        self._draw.append(draw)
        self.pictures.append(box)
        return box

    def backdrop(self, x: float, top: float, pixels: NDArray[np.uint8]) -> Box:
        """As :meth:`image`, one sample a pixel, for a ground that lines and words may lie on."""
        return self._place_pixels(x, top, pixels, None, None)

    def _place_pixels(
        self, x: float, top: float, pixels: NDArray[np.uint8], width: float | None, height: float | None
    ) -> Box:
        pixel = self.pixel
        box_width = pixels.shape[1] * pixel if width is None else width
        box_height = pixels.shape[0] * pixel if height is None else height
        left, upper = self.snap(x), self.snap(top)
        box = Box(left, upper, left + box_width, upper + box_height, "picture")
        data = np.ascontiguousarray(pixels)
        # pdfium rounds a picture's corners outwards: a hundredth of a pixel keeps it on its own pixels
        inset = pixel * 0.01

        def draw(canvas: Any) -> None:
            x_0, y_0 = left + inset, self.height - box.bottom + inset
            draw_pixels(canvas, data, x_0, y_0, box_width - 2 * inset, box_height - 2 * inset)

        self._draw.append(draw)
        return box

    def swatch(
        self,
        x: float,
        top: float,
        width: float,
        height: float,
        colour: Colour,
        *,
        outline: Colour | None = None,
        outline_width: float = 0.5,
    ) -> None:
        """A filled rectangle of an sRGB colour (floats in 0..1, or 8-bit integers).

        Its edges go to the pixel grid, so that two swatches that touch have no seam.
        """
        left, upper, right, lower = (self.snap(v) for v in (x, top, x + width, top + height))
        points = [(left, upper), (right, upper), (right, lower), (left, lower)]
        self.polygon(points, fill=colour, outline=outline, width=outline_width)

    # lines --------------------------------------------------------------------------------------------------

    def line(
        self,
        x_1: float,
        y_1: float,
        x_2: float,
        y_2: float,
        *,
        colour: Colour = HAIRLINE,
        width: float = 0.4,
        dash: Sequence[float] | None = None,
    ) -> None:
        """A straight line; ``width`` in points."""
        self.polyline([(x_1, y_1), (x_2, y_2)], colour=colour, width=width, dash=dash)

    def polyline(
        self,
        points: Iterable[tuple[float, float]],
        *,
        colour: Colour = INK,
        width: float = 0.8,
        dash: Sequence[float] | None = None,
    ) -> None:
        """An open line through points (x, y)."""
        self._path(list(points), close=False, fill=None, stroke=colour, width=width, dash=dash)

    def polygon(
        self,
        points: Iterable[tuple[float, float]],
        *,
        fill: Colour | None = None,
        outline: Colour | None = None,
        width: float = 0.5,
    ) -> None:
        """A closed shape, filled, outlined or both."""
        self._path(list(points), close=True, fill=fill, stroke=outline, width=width, dash=None)

    def marker(
        self,
        x: float,
        y: float,
        kind: str = "circle",
        size: float = 5.0,
        *,
        fill: Colour | None = INK,
        outline: Colour | None = None,
        width: float = 0.8,
    ) -> None:
        """A mark on (x, y), ``size`` points across: circle, square, diamond, triangle, cross, plus."""
        r = size / 2
        if kind in ("cross", "plus"):
            ends = [(r, r), (r, -r)] if kind == "cross" else [(r, 0.0), (0.0, r)]
            for dx, dy in ends:
                self.line(x - dx, y - dy, x + dx, y + dy, colour=outline or fill or INK, width=width)
            return
        turns = {"circle": 32, "square": 4, "diamond": 4, "triangle": 3}
        if kind not in turns:
            raise SheetError("unknown marker", found=kind, wanted=", ".join([*turns, "cross", "plus"]))
        start = {"square": 45.0, "triangle": -90.0}.get(kind, 0.0)
        angles = np.radians(start + np.arange(turns[kind]) * 360.0 / turns[kind])
        reach = r * (2**0.5 if kind == "square" else 1.15 if kind == "triangle" else 1.0)
        points = [(x + reach * float(np.cos(a)), y + reach * float(np.sin(a))) for a in angles]
        self.polygon(points, fill=fill, outline=outline, width=width)

    def _path(
        self,
        points: list[tuple[float, float]],
        *,
        close: bool,
        fill: Colour | None,
        stroke: Colour | None,
        width: float,
        dash: Sequence[float] | None,
    ) -> None:
        if len(points) < 2:
            return

        def draw(canvas: Any) -> None:
            path = canvas.beginPath()
            path.moveTo(points[0][0], self.height - points[0][1])
            for x, y in points[1:]:
                path.lineTo(x, self.height - y)
            if close:
                path.close()
            if fill is not None:
                canvas.setFillColorRGB(*unit_rgb(fill))
            if stroke is not None:
                canvas.setStrokeColorRGB(*unit_rgb(stroke))
                canvas.setLineWidth(width)
                canvas.setLineJoin(1)
            canvas.setDash(*([list(dash)] if dash else [[], 0]))
            canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

        self._draw.append(draw)

    # examination --------------------------------------------------------------------------------------------

    def faults(self) -> list[str]:
        """Every text that lies over another text or a picture, and everything that leaves the page."""
        found = []
        for kind, boxes in (("text", self.texts), ("picture", self.pictures)):
            for box in boxes:
                spill = max(-box.left, -box.top, box.right - self.width, box.bottom - self.height)
                if spill > 0.1:
                    found.append(f"{kind} leaves the page: {box.what!r}")
        ordered = sorted(self.texts, key=lambda b: b.top)
        for i, one in enumerate(ordered):
            for other in ordered[i + 1 :]:
                if other.top > one.bottom:
                    break
                if one.overlaps(other):
                    found.append(f"text over text: {one.what!r} and {other.what!r}")
            found += [f"text over a picture: {one.what!r}" for p in self.pictures if one.overlaps(p)]
        found += [
            "picture over a picture"
            for i, one in enumerate(self.pictures)
            for other in self.pictures[i + 1 :]
            if one.overlaps(other)
        ]
        return found
